-- Question: which jobs stand in the file more than once?
-- Grain: one row a row of such a job. Reads: sheet.
-- Columns: row, job, rows (how many), first and last (rows), same (all alike), later (not the first).
create or replace temp table twice as
with
-- one row a job that stands there more than once
jobs as (
  select
    job, branch, count(*) as rows, min(row) as first, max(row) as last,
    min(content) = max(content) as same
  from sheet where job is not null
  group by job, branch
  having count(*) > 1
)
select s.row, s.job, j.rows, j.first, j.last, j.same, s.row > j.first as later
from sheet as s
join jobs as j on j.job = s.job and j.branch is not distinct from s.branch

-- Does: notes jobs that stand in the file more than once with different content.
-- Reads: sheet. Writes: faults.
insert into faults (row, col, value, reason)
with
-- one row a job that stands there more than once
twice as (
  select job, branch, count(*) as rows, min(row) as first, max(row) as last
  from sheet where job is not null
  group by job, branch
  having count(*) > 1 and min(content) <> max(content)
)
select
  s.row, 'job', s.job,
  'the job stands in this file ' || t.rows || ' times with different content (rows '
    || t.first || case when t.rows > 2 then ' to ' else ' and ' end || t.last || ')'
from sheet as s
join twice as t on t.job = s.job and t.branch is not distinct from s.branch

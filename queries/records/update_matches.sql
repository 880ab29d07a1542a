-- Question: which job does each row of an update mean?
-- Grain: one row a row of the file. Reads: given, records.jobs. Slot branch: the row's branch, or
--   null where the file has no such column.
-- Columns: row, job, entry (null: none), matches, branches.
create or replace temp table update_matches as
select
  g.row, g.job, any_value(j.entry) as entry, count(j.entry) as matches,
  string_agg(j.branch, ', ' order by j.branch) as branches
from given as g
left join records.jobs as j
  on j.job = g.job and (/*branch*/ is null or j.branch is not distinct from /*branch*/)
group by g.row, g.job

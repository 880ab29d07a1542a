-- Does: stores the rows that are held back: one row a fault, with the whole row as JSON.
-- Reads: faults, and what slot source selects (cells in our spelling; wrong ones as they came,
--   masked). Writes: records.heldback. Parameters: batch, file. Slot columns: those of the file.
-- A row that is already held back, cell for cell, is not stored again.
insert into records.heldback
with
-- one row a row of the file that has a fault
lines as (
  select
    row, job, /*branch*/ as branch, held_back,
    cast(json_merge_patch('{}', to_json(struct_pack(/*columns*/))) as varchar) as line
  from (/*source*/)
  where row in (select row from faults)
)
select
  $batch, $file, f.row, l.job, l.branch, f.col, f.value, f.reason, l.line, null
from (select distinct row, col, value, reason from faults) as f
join lines as l on l.row = f.row
where not exists (
  select 1 from records.heldback as h where h.line = l.line and h.cleared_by is null)
order by f.row, f.col, f.reason

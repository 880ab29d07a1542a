-- Does: notes the rows of an update that mean no job, or several.
-- Reads: update_matches. Writes: faults; such a row as a whole.
insert into faults (row, col, value, reason, whole)
select
  row, 'job', job,
  case when matches = 0 then 'there is no such job to update'
    else 'several branches have this job (' || branches || '): add the column branch' end,
  true
from update_matches
where matches <> 1 and job is not null

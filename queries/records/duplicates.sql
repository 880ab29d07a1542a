-- Does: notes jobs that stand in the file more than once with different content.
-- Reads: twice. Writes: faults.
insert into faults (row, col, value, reason)
select
  row, 'job', job,
  'the job stands in this file ' || rows || ' times with different content (rows '
    || first || case when rows > 2 then ' to ' else ' and ' end || last || ')'
from twice
where not same

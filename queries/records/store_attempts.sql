-- Does: stores one row an attempt. Parameters: base, covers. Slot attempts: one statement a step,
--   from rows that carry model, technician and covers of their job.
insert into records.attempts
select $base + a.row, a.step, a.attempt, a.method, a.model, a.technician, coalesce(a.covers, $covers)
from (/*attempts*/) as a

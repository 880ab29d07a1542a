-- Does: stores one row an attempt. Parameter: base. Slot attempts: one statement a step.
insert into records.attempts
select $base + a.row, a.step, a.attempt, a.method
from (/*attempts*/) as a

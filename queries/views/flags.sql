-- Question: on which jobs does a record speak of a mode at all?
-- Grain: one row per (job, mode) that was seen, unchecked or there at intake: few.
-- Reads: records.failures, records.unchecked, records.preexisting, modes.
-- Parameters: none.
-- Columns: entry; mode; seen, unchecked, preexisting (true or false).
create or replace temp view flags as
with
-- one row per mark; '*' means every mode
marks as (
  select
    entry,
    mode,
    1 as seen,
    0 as unchecked,
    0 as preexisting
  from records.failures
  union all
  select
    u.entry,
    m.mode,
    0 as seen,
    1 as unchecked,
    0 as preexisting
  from records.unchecked as u
  inner join modes as m on u.mode = '*' or u.mode = m.mode
  union all
  select
    entry,
    mode,
    0 as seen,
    0 as unchecked,
    1 as preexisting
  from records.preexisting
)
select
  entry,
  mode,
  max(seen) = 1 as seen,
  max(unchecked) = 1 as unchecked,
  max(preexisting) = 1 as preexisting
from marks
group by entry, mode

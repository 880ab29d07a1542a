-- Question: where do the records say anything of a mode on a job?
-- Grain: one row per mark in the records; a job and mode may have several.
-- Reads: records.failures, records.unchecked, records.preexisting, modes.
-- Parameters: none.
-- Columns: entry; mode; seen, unchecked, preexisting (1 or 0, one of them 1).
create or replace temp view mentions as
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
inner join modes as m on m.mode = u.mode
union all
select
  u.entry,
  m.mode,
  0 as seen,
  1 as unchecked,
  0 as preexisting
from records.unchecked as u
cross join modes as m
where u.mode = '*'
union all
select
  entry,
  mode,
  0 as seen,
  0 as unchecked,
  1 as preexisting
from records.preexisting

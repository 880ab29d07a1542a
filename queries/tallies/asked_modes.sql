-- Question: which modes are asked for, and what can they happen to?
-- Grain: one row per mode asked for.
-- Reads: modes, asked_codes.
-- Parameters: none; the slot view takes first or attempted.
-- Columns: mode; number (of the mode: numbers are grouped faster than words); kind (steps, part or
--   mixed); target (number of what it can happen to).
create or replace temp view asked_modes as
select
  m.mode,
  m.position as number,
  m.kind,
  m.target_/*view*/ as target
from modes as m
inner join asked_codes as c on c.mode = m.mode

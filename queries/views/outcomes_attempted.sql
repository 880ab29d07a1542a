-- Question: what is known of every opportunity, as attempted?
-- Grain: one row per (mode, unit).
-- Reads: outcomes.
-- Parameters: none.
-- Columns: entry; mode; family; place; number; option; model; technician; state: as in outcomes.
create or replace temp view outcomes_attempted as
select
  entry,
  mode,
  family,
  place,
  number,
  option,
  model,
  technician,
  state
from outcomes
where view = 'attempted'

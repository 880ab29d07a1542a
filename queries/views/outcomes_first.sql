-- Question: what is known of every opportunity, by first choice?
-- Grain: one row per (mode, unit).
-- Reads: outcomes.
-- Parameters: none.
-- Columns: entry; mode; family; place; number; option; model; technician; state: as in outcomes.
create or replace temp view outcomes_first as
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
where view = 'first'

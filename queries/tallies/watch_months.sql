-- Question: how often did each mode and family go wrong in each month, model by model?
-- Grain: one row per (mode or family, model, month, before or within the watched time).
-- Reads: the rows of modes and of watch_families by model, month and watched (slots modes, families).
-- Parameters: none; slots: modes, families.
-- Columns: mode (null: of a family); family (null: of a mode); model; month 'YYYY-MM'; watched (true:
--   in the watched time); failures, opportunities, unknown (units).
select
  mode,
  cast(null as varchar) as family,
  model,
  month,
  watched,
  cast(failures as bigint) as failures,
  cast(opportunities as bigint) as opportunities,
  cast(unknown as bigint) as unknown
from (/*modes*/) as of_modes
union all
select
  mode,
  family,
  model,
  month,
  watched,
  cast(failures as bigint) as failures,
  cast(opportunities as bigint) as opportunities,
  cast(unknown as bigint) as unknown
from (/*families*/) as of_families

-- Question: how often did each mode and family go wrong in each month, model by model?
-- Grain: one row per (mode or family, model, month, before or within the watched time).
-- Reads: watched_days (a temporary table).
-- Parameters: since (first watched day).
-- Columns: mode (null: of a family); family (null: of a mode); model; month 'YYYY-MM'; watched (true:
--   from since on); failures, opportunities, unknown (units).
select
  mode,
  family,
  model,
  substr(cast(day as varchar), 1, 7) as month,
  day >= $since as watched,
  cast(sum(failures) as bigint) as failures,
  cast(sum(opportunities) as bigint) as opportunities,
  cast(sum(unknown) as bigint) as unknown
from watched_days
group by all

-- Question: what do the counts of single modes come to, as rows of the watched days?
-- Grain: one row per (mode, device model, day).
-- Reads: the rows of modes (slot rows).
-- Parameters: none; slot: rows. It becomes the temporary table watched_days.
-- Columns: mode; family (null); model; day; failures, opportunities, unknown (units).
select
  mode,
  cast(null as varchar) as family,
  model,
  day,
  failures,
  opportunities,
  unknown
from (/*rows*/) as counted

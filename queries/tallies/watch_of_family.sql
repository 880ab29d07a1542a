-- Question: what do the counts of one family come to, as rows of the watched days?
-- Grain: one row per (device model, day).
-- Reads: the rows of union (slot rows).
-- Parameters: family; slot: rows. They are added to the temporary table watched_days.
-- Columns: mode (null); family; model; day; failures, opportunities, unknown (jobs).
select
  cast(null as varchar) as mode,
  $family as family,
  model,
  day,
  failures,
  opportunities,
  unknown
from (/*rows*/) as counted

-- Question: how often did each mode and family go wrong in each month, on each device model?
-- Grain: one row per (mode or family, model, month, whether it is watched).
-- Reads: the rows of watch_counts by model, month and watched (slot rows), watched_subjects.
-- Parameters: none; slot: rows.
-- Columns: mode (null: of a family); family (null: of a mode); model; month (202603); watched (false: of
--   the time before); failures, opportunities, unknown (units; of a family jobs).
select
  s.mode,
  s.family,
  c.model,
  c.month,
  c.watched,
  c.failures,
  c.opportunities,
  c.unknown
from (/*rows*/) as c
inner join watched_subjects as s on s.subject = c.subject

-- Question: which day did the person give?
-- Grain: one row, one value.
-- Reads: asked_values.
-- Parameters: none; the slot name takes since or until.
-- Columns: day. A value in brackets that stands inside the filter of asked_jobs.
(
  select cast(a.value as date) as day
  from asked_values as a
  where a.key = '/*name*/'
)

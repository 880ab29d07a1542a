-- Question: how was each step of each job tried, one try after another?
-- Grain: one row per attempt; a step left blank is one attempt of method null.
-- Reads: records.attempts, renamed.
-- Parameters: none.
-- Columns: entry; step; attempt (1, 2, ...); method (null: not recorded); model, technician (the
--   job's); covers.
create or replace temp view attempts as
select
  a.entry,
  a.step,
  a.attempt,
  a.method,
  coalesce(m.shown, a.model) as model,
  coalesce(t.shown, a.technician) as technician,
  a.covers
from records.attempts as a
left join renamed as m on m.kind = 'model' and m.stored = a.model
left join renamed as t on t.kind = 'technician' and t.stored = a.technician

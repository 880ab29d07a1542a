-- Question: how many jobs of a trial were corrected after they had come to count?
-- Grain: one row.
-- Reads: trial_places.
-- Parameters: none.
-- Columns: corrected (jobs whose outcome is another now); struck (jobs that no longer count where
--   they did: their outcome, technician, model, option or day was taken back or changed).
select
  count(distinct case when failed <> failed_then then subject end) as corrected,
  count(distinct case when failed is null then subject end) as struck
from trial_places

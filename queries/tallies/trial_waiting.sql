-- Question: how many jobs of a trial do not count among the pairs yet, and how many did not wait?
-- Grain: one row.
-- Reads: trial_jobs.
-- Parameters: none.
-- Columns: waiting (jobs of known main outcome whose days after intake are not over); undated (whose
--   day of intake is not written down, so that they count at once).
select
  count(case when settled is null then 1 end) as waiting,
  count(case when received is null then 1 end) as undated
from trial_jobs
where standing and role = 'main' and not doubt

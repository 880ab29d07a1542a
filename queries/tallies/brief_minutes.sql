-- Question: how long did jobs of one repair take?
-- Grain: one row per (model, minutes).
-- Reads: jobs.
-- Parameters: repair (jobs asked for this and nothing else).
-- Columns: model; minutes (of the job, rescue attempts included); jobs (completed, no come-backs).
select
  model,
  minutes,
  count(*) as jobs
from jobs
where repair = $repair and rework = 'no' and outcome = 'completed' and minutes is not null
group by model, minutes

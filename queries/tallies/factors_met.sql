-- Question: which factors were ever recorded?
-- Grain: one row per factor with a value on some job.
-- Reads: factors.
-- Parameters: none.
-- Columns: factor; jobs.
select
  factor,
  count(*) as jobs
from factors
group by factor
order by factor

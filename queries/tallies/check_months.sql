-- Question: how many jobs were finished in each month?
-- Grain: one row per month with a job.
-- Reads: jobs.
-- Parameters: none.
-- Columns: month ('YYYY-MM'); jobs.
select
  month,
  count(*) as jobs
from jobs
group by month
order by month

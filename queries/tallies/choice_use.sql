-- Question: how often was each option of a choice used, by whom and when?
-- Grain: one row per (option, technician, quarter).
-- Reads: asked_jobs.
-- Parameters: none; the slot keys takes the quoted name of the choice, a column of asked_jobs.
-- Columns: the choice ('-': not done or not fitted, null: not recorded); cluster (technician); year;
--   quarter (1 to 4); jobs; first, last (day of finished).
select
  /*keys*/
  cluster,
  year(finished) as year,
  quarter(finished) as quarter,
  count(*) as jobs,
  min(finished) as first,
  max(finished) as last
from asked_jobs
group by all

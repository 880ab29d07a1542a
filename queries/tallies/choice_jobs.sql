-- Question: on how many jobs do the options of a choice meet the values of other keys?
-- Grain: one row per keys.
-- Reads: asked_jobs.
-- Parameters: none; the slot keys takes quoted names of columns of asked_jobs.
-- Columns: the keys; jobs.
select
  /*keys*/
  count(*) as jobs
from asked_jobs
group by all

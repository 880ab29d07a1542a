-- Question: on how many jobs did this choice arise, and on how many of late?
-- Grain: one row per (option, model).
-- Reads: decide_jobs.
-- Parameters: as_of (last day of the records); slot: choice (its quoted name).
-- Columns: option (null: not recorded); model; jobs; recent (of the last 90 days); year (of the last
--   365 days); first (day of the first).
select
  /*choice*/ as option,
  model,
  count(*) as jobs,
  count(case when date_diff('day', finished, $as_of) < 90 then 1 end) as recent,
  count(case when date_diff('day', finished, $as_of) < 365 then 1 end) as year,
  min(finished) as first
from decide_jobs
where /*choice*/ is distinct from '-'
group by all

-- Question: of which steps are minutes recorded, and on how many of the jobs?
-- Grain: one row per step with minutes, and one for the whole job (step '').
-- Reads: decide_jobs, records.step_minutes.
-- Parameters: none.
-- Columns: step; jobs (with minutes above 0 and, as more can only be a typing error that an older store
--   holds, up to 100,000).
with
-- steps and whole jobs under each other
timed as (
  select
    s.step,
    s.minutes
  from records.step_minutes as s
  inner join decide_jobs as j on j.entry = s.entry
  union all
  select
    '' as step,
    minutes
  from decide_jobs
)
select
  step,
  count(*) as jobs
from timed
where minutes > 0 and minutes <= 100000
group by step

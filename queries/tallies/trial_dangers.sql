-- Question: on how many jobs drawn for an option was a safety failure seen, day by day?
-- Grain: one row per day of hand-over.
-- Reads: trial_jobs.
-- Parameters: option (the one that is tried).
-- Columns: day; harmed (jobs with a safety failure seen, whatever else was not checked); jobs.
with
-- one row per job drawn for the option
mine as (
  select
    finished as day,
    coalesce(failed, false) as harmed
  from trial_jobs
  where role = 'safety' and drawn = lower($option)
),
-- one row per day
days as (
  select
    day,
    count(case when harmed then 1 end) as harmed,
    count(*) as jobs
  from mine
  group by day
)
select * from days
order by day

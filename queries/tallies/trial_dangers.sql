-- Question: on how many jobs drawn for an option was a safety failure seen, as they came to
--   count?
-- Grain: one row per (import, day of hand-over) by which such jobs came to count.
-- Reads: trial_places.
-- Parameters: option (the one that is tried).
-- Columns: batch (the import); day; harmed (jobs with a safety failure seen, whatever else was not
--   checked); jobs.
with
-- one row per job drawn for the option, in the stratum in which it stands
mine as (
  select
    batch,
    day,
    failed
  from trial_places
  where role = 'safety' and drawn = lower($option) and failed is not null
),
-- one row per (import, day)
steps as (
  select
    batch,
    day,
    count(case when failed then 1 end) as harmed,
    count(*) as jobs
  from mine
  group by batch, day
)
select * from steps
order by batch, day

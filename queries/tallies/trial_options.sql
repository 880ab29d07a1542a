-- Question: what was drawn in a trial, what was used, and how did it go?
-- Grain: one row per (role, option drawn), by the records as they stand.
-- Reads: trial_jobs.
-- Parameters: none.
-- Columns: role; drawn; jobs; as_drawn (used what was drawn); otherwise (used something else);
--   not_recorded (what was used is not written down); failures, opportunities, unknown,
--   unknown_failed (jobs).
with
-- one row per (role, job)
jobs_used as (
  select
    role,
    drawn,
    failed,
    doubt,
    lower(used) as way
  from trial_jobs
  where standing
),
-- one row per (role, option drawn)
counted as (
  select
    role,
    drawn,
    count(*) as jobs,
    count(case when way = drawn then 1 end) as as_drawn,
    count(case when way <> drawn then 1 end) as otherwise,
    count(case when way is null then 1 end) as not_recorded,
    count(case when failed and not doubt then 1 end) as failures,
    count(case when not doubt then 1 end) as opportunities,
    count(case when doubt then 1 end) as unknown,
    count(case when failed and doubt then 1 end) as unknown_failed
  from jobs_used
  group by role, drawn
)
select * from counted
order by role, drawn

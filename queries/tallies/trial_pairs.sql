-- Question: in how many pairs did only one of the two options fail, day by day?
-- Grain: one row per (role, day on which pairs were complete).
-- Reads: trial_jobs.
-- Parameters: baseline, option (the two of the trial).
-- Columns: role; day (of hand-over of the later job); more, fewer (pairs in which only the option,
--   only its baseline failed); both; neither.
-- Notes:
--   Within a stratum the first job of one option goes with the first of the other, and so on. Jobs of
--   unknown main outcome are left out before, for a job can't be fine because nobody looked. Of the
--   safety modes every job counts with what was seen: no danger seen may be left out because another
--   was not looked for, and what is seen happens at most as often as what happens.
with
-- one row per (role, job that counts): its place in its stratum and option
placed as (
  select
    role,
    bench,
    model_group,
    drawn,
    finished,
    coalesce(failed, false) as failed,
    row_number() over (
      partition by role, bench, model_group, drawn
      order by begun, finished, job, entry
    ) as place
  from trial_jobs
  where role = 'safety' or not doubt
),
-- one row per pair
pairs as (
  select
    a.role,
    greatest(a.finished, b.finished) as day,
    a.failed,
    b.failed as baseline_failed
  from placed as a
  inner join placed as b
    on b.role = a.role
    and b.bench is not distinct from a.bench
    and b.model_group = a.model_group
    and b.place = a.place
  where a.drawn = lower($option) and b.drawn = lower($baseline)
),
-- one row per (role, day)
days as (
  select
    role,
    day,
    count(case when failed and not baseline_failed then 1 end) as more,
    count(case when baseline_failed and not failed then 1 end) as fewer,
    count(case when failed and baseline_failed then 1 end) as both,
    count(case when not failed and not baseline_failed then 1 end) as neither
  from pairs
  group by role, day
)
select * from days
order by role, day

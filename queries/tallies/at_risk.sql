-- Question: how many jobs were still followed on each day after hand-over, and how did they leave?
-- Grain: one row per (keys, day, reason): jobs whose follow-up ended on that day in that way.
-- Reads: asked_followups.
-- Parameters: days (follow-up in days), as_of (the day up to which returns are known; jobs handed
--   over later are left out); slot: keys.
-- Columns: the keys; day (0: the day of hand-over); reason (a mode or 'unrelated'; '': came back,
--   nobody wrote down why; null: follow-up ended without a return); jobs (that left on that day in
--   that way); at_risk (jobs still followed when that day began). On one day returns come before
--   ends of follow-up: a job was watched through its last day.
with
-- one row per job handed over by then: the last day on which it is followed
begun as (
  select
    /*keys*/
    days_back,
    reason,
    least(days_watched, date_diff('day', finished, $as_of), $days) as last_day
  from asked_followups
  where finished <= $as_of
),
-- one row per job: when and how it left; a return after the last day has not happened yet
ended as (
  select
    /*keys*/
    case when days_back <= last_day then days_back else last_day end as day,
    case when days_back <= last_day then coalesce(reason, '') end as reason
  from begun
),
-- jobs by when and how they left
leaving as (
  select
    /*keys*/
    day,
    reason,
    count(*) as jobs
  from ended
  group by all
),
-- the same with those still followed: all that left on that day or later
followed as (
  select
    *,
    cast(sum(jobs) over (partition by /*keys*/ true order by day desc) as bigint) as at_risk
  from leaving
)
select * from followed

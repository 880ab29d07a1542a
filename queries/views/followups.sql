-- Question: how long was each completed job followed after hand-over, and did the device come back?
-- Grain: one row per completed job (entry).
-- Reads: jobs.
-- Parameters: none.
-- Columns: entry, job, branch, finished, model, repair, technician, outcome, month, quarter, year,
--   rework, trial, assigned, plan (as in jobs); watched (the last day of which the records of its
--   branch speak); came_back (first day the device is known to have been back, null: it is not);
--   reason (of that first return: a mode, or 'unrelated'; null: it did not come back, or nobody
--   wrote down why); days_watched, days_back (the same two days as days after hand-over; 0: the day
--   of hand-over itself).
-- The device came back on the earliest of two days: returned, as its own row says, and the day on
-- which a job that is the come-back of it was received (else finished). The reason is the one its
-- own row gives, unless that row has a later day: of an earlier come-back nobody wrote down why.
-- Only the first return counts. A come-back job from before the hand-over has a wrong date, but the
-- device was back: it counts on the day of hand-over.
create or replace temp view followups as
with
-- one row per branch: the last day of which its records speak
branches as (
  select
    branch,
    greatest(max(finished), max(received), max(returned)) as watched
  from jobs
  group by branch
),
-- one row per job that has come-back jobs of its own: the day of the first
again as (
  select
    branch,
    return_of as job,
    min(coalesce(received, finished)) as came
  from jobs
  where return_of is not null
  group by branch, return_of
),
-- one row per completed job, both days of its first return beside each other
completed as (
  select
    j.*,
    b.watched,
    case when a.came < j.finished then j.finished else a.came end as came
  from jobs as j
  inner join branches as b on b.branch is not distinct from j.branch
  left join again as a on a.branch is not distinct from j.branch and a.job = j.job
  where j.outcome = 'completed'
),
-- the same with the earlier of the two days
followed as (
  select
    entry,
    job,
    branch,
    finished,
    model,
    repair,
    technician,
    outcome,
    month,
    quarter,
    year,
    rework,
    trial,
    assigned,
    plan,
    watched,
    least(returned, came) as came_back,
    case when coalesce(returned, came) <= coalesce(came, returned) then return_reason end as reason
  from completed
)
select
  *,
  date_diff('day', finished, watched) as days_watched,
  date_diff('day', finished, came_back) as days_back
from followed

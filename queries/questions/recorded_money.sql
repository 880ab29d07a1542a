-- Question: what do jobs with each option of a choice cost as recorded?
-- Grain: one row per (choice, option first used): methods of steps, then grades of parts. Come-back
--   jobs are left out, and choices of which no option was recorded.
-- Reads: jobs, first_methods, first_pieces, pieces, records.failures.
-- Parameters:
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
-- Columns:
--   choice (code): a step, or PART_grade
--   option (code): the method first tried, or the grade of the piece first fitted; null where it
--     was not recorded
--   jobs (jobs): jobs with that option
--   n_minutes (jobs): the minutes of the whole job were recorded
--   minutes (minutes): their mean, failures included
--   n_paid (pieces): of the pieces first fitted, those with a recorded cost; null for a step
--   paid (money): their mean cost; null for a step
--   failing (jobs): a failure of whatever kind was recorded, anywhere on the job
--   n_failure_cost (jobs): of the failing, those on which it was recorded what that cost
--   failure_cost (money): the sum of these
-- Notes:
--   raw sums and means, as recorded: no interval, and not like for like, since models, technicians
--     and jobs of the options may differ; minutes and costs left blank are not 0, and a failure may
--     have come from another choice of the job; fixstats decide CHOICE puts the costs of failures,
--     minutes and parts together, adjusted, and says how sure it is
with
-- one row per job asked about
asked as (
  select
    entry,
    minutes,
    failure_cost
  from jobs
  where
    rework = 'no'
    and ($model is null or model = $model)
    and ($since is null or finished >= $since)
    and ($until is null or finished <= $until)
),
-- jobs on which a failure was recorded
failed as (
  select distinct entry
  from records.failures
),
-- one row per (job, choice)
chosen as (
  select
    entry,
    step as choice,
    method as option,
    false as of_part,
    cast(null as double) as paid
  from first_methods
  union all
  select
    f.entry,
    concat(f.part, '_grade') as choice,
    f.grade as option,
    true as of_part,
    p.cost as paid
  from first_pieces as f
  inner join pieces as p on p.entry = f.entry and p.part = f.part and p.piece = 1
),
-- one row per (choice, option)
summed as (
  select
    c.choice,
    c.option,
    count(*) as jobs,
    count(a.minutes) as n_minutes,
    avg(a.minutes) as minutes,
    case when c.of_part then count(c.paid) end as n_paid,
    avg(c.paid) as paid,
    count(f.entry) as failing,
    count(case when f.entry is not null then a.failure_cost end) as n_failure_cost,
    sum(case when f.entry is not null then a.failure_cost end) as failure_cost
  from chosen as c
  inner join asked as a on a.entry = c.entry
  left join failed as f on f.entry = c.entry
  group by c.choice, c.option, c.of_part
),
-- the same without choices of which nobody wrote down any option
told as (
  select s.*
  from summed as s
  semi join (select choice from summed where option is not null) as k on k.choice = s.choice
  order by s.n_paid is not null, s.choice, s.jobs desc, s.option nulls last
)
select * from told

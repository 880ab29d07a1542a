-- Question: how long do jobs with each option take, those without a costed failure?
-- Grain: one row per (option, model, keys, late) with recorded minutes.
-- Reads: decide_chosen, records.step_minutes, records.failures, decide_costed (modes with a cost:
--   their minutes come with the failure).
-- Parameters: left_out, step (the step whose minutes are asked for; null: those of the job without
--   the steps that have recorded minutes of their own); slot: keys. A failure whose record names
--   another step takes no time at this one. More than 100,000 minutes, which older stores may hold
--   and imports hold back now, count as not recorded.
-- Columns: option, model, the keys (codes of decide_words); late; jobs; minutes (their sum), squares (sum of squared minutes).
with
-- jobs on which a failure was seen that is paid for by itself
failed as (
  select distinct f.entry
  from records.failures as f
  inner join decide_costed as d on d.mode = f.mode
  where $step is null or f.place = '' or f.place = $step
),
-- one row per job with minutes of steps
steps as (
  select
    entry,
    sum(case when step = $step then minutes end) as own,
    sum(minutes) as together
  from records.step_minutes
  group by entry
),
-- one row per job: all tries at the step, rescue included
spent as (
  select
    c.option_code as option,
    c.model_code as model,
    /*keys*/
    c.latest <= $left_out as late,
    case when $step is null then c.minutes - coalesce(s.together, 0) else s.own end as minutes
  from decide_chosen as c
  left join steps as s on s.entry = c.entry
  left join failed as f on f.entry = c.entry
  where f.entry is null
),
-- the same with minutes that can be, as decimals, whose sum is the same in whatever order threads
-- add them up; the case stands inside the cast, which fails on a number of 30 digits
timed as (
  select
    option,
    model,
    /*keys*/
    late,
    cast(
      case when minutes > 0 and minutes <= 100000 then minutes end as decimal(38, 9)
    ) as minutes
  from spent
)
select
  option,
  model,
  /*keys*/
  late,
  count(*) as jobs,
  cast(sum(minutes) as double) as minutes,
  cast(
    sum(cast(cast(minutes as double) * cast(minutes as double) as decimal(38, 9))) as double
  ) as squares
from timed
where minutes > 0
group by all

-- Question: how often did a mode occur under each recorded condition?
-- Grain: one row per (condition, value of it).
-- Reads: outcomes_first, jobs, factors, parts_together, grades_mixed, another_tries, practice,
--   steps, mode_steps.
-- Parameters:
--   mode (mode, calibration_refused): the failure mode to set against the conditions
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   condition (code): a factor, rework, quarter, parts_together, grades_mixed,
--     <step>_another_try of the steps before those of the mode, <step>_practice of its own
--   value (name): the value of the condition, a band of a number; null where a grade, a method or a
--     technician was not recorded; jobs where a factor was not recorded are in none of its rows
--   failures (jobs): the mode was seen
--   opportunities (jobs): it could have occurred and was looked for
--   unknown (jobs): it was not looked for; in neither number before
--   unknown_failed (jobs): of the unknown, those where it was seen all the same
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
-- Notes:
--   raw counts: conditions go together, so a difference here may be that of another one; fixstats
--     causes adjusts each for what came before it
with
-- one row per step of the mode
own as (
  select
    s.step,
    s.position
  from mode_steps as m
  inner join steps as s on s.step = m.step
  where m.mode = $mode
),
-- one row per job on which the mode could occur
judged as (
  select
    o.entry,
    j.quarter,
    j.rework,
    bool_or(o.state in ('unknown', 'unknown_failed')) as doubt,
    bool_or(o.state in ('failed', 'unknown_failed')) as seen
  from outcomes_first as o
  inner join jobs as j on j.entry = o.entry
  where
    o.mode = $mode
    and ($model is null or j.model = $model)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
  group by o.entry, j.quarter, j.rework
),
-- one row per (job, condition)
met as (
  select entry, factor as condition, band as value from factors
  union all
  select entry, 'rework', rework from judged
  union all
  select entry, 'quarter', quarter from judged
  union all
  select g.entry, 'parts_together', coalesce(p.together, 'none')
  from judged as g left join parts_together as p on p.entry = g.entry
  union all
  select entry, 'grades_mixed', mixed from grades_mixed
  union all
  select t.entry, concat(t.step, '_another_try'), t.another
  from another_tries as t inner join steps as s on s.step = t.step
  where s.position < (select min(position) from own)
  union all
  select entry, concat(step, '_practice'), band
  from practice
  where step in (select step from own)
),
-- one row per (condition, value)
counted as (
  select
    m.condition,
    m.value,
    count(*) filter (where g.seen and not g.doubt) as failures,
    count(*) filter (where not g.doubt) as opportunities,
    count(*) filter (where g.doubt) as unknown,
    count(*) filter (where g.doubt and g.seen) as unknown_failed
  from judged as g
  inner join met as m on m.entry = g.entry
  group by m.condition, m.value
),
-- the same with rates
rated as (
  select
    *,
    failures / nullif(opportunities, 0) as rate,
    wilson_low(failures, opportunities, $z) as low,
    wilson_high(failures, opportunities, $z) as high,
    case when failures = 0 then 1 - power(1 - $level, 1 / nullif(opportunities, 0)) end as at_most
  from counted
)
select * from rated order by condition, value nulls last

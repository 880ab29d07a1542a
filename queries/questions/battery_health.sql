-- Question: how worn are the batteries of the devices that come in, against the mark at which the
--   trade usually changes them?
-- Grain: one row per device model.
-- Reads: jobs, factors.
-- Parameters:
--   mark (number, 80): percent of health; a value on the mark is not below it (80 is common
--     practice, no source)
--   repair (repair, battery_swap): only jobs with this repair
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   model (name): device model
--   below_mark (jobs): health at intake below the mark; worn, which is no failure of the workshop
--   recorded (jobs): health at intake was recorded
--   not_recorded (jobs): it was not; these may differ from the rest, a dead battery tells nothing
--   rate (fraction): below_mark of recorded
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where below_mark is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / recorded); else null
--   lowest (percent): lowest health recorded
--   median (percent): middle of the health recorded
--   highest (percent): highest health recorded
-- Notes:
--   batteries whose health was not recorded may differ from the rest: a dead one tells nothing
with
-- one row per job with that repair
asked as (
  select
    j.model,
    f.number as health
  from jobs as j
  left join factors as f on f.entry = j.entry and f.factor = 'battery_health'
  where
    contains(concat('; ', j.repair, '; '), concat('; ', $repair, '; '))
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
),
-- one row per model
counted as (
  select
    model,
    count(*) filter (where health < $mark) as below_mark,
    count(health) as recorded,
    count(*) - count(health) as not_recorded,
    min(health) as lowest,
    median(health) as median,
    max(health) as highest
  from asked
  group by model
),
-- the same with rates
rated as (
  select
    model,
    below_mark,
    recorded,
    not_recorded,
    below_mark / nullif(recorded, 0) as rate,
    wilson_low(below_mark, recorded, $z) as low,
    wilson_high(below_mark, recorded, $z) as high,
    case when below_mark = 0 then 1 - power(1 - $level, 1 / nullif(recorded, 0)) end as at_most,
    lowest,
    median,
    highest
  from counted
)
select * from rated order by model

-- Question: is calibration refused more often when the battery holds little charge?
-- Grain: one row per (method of calibration first tried, side of the mark).
-- Reads: outcomes_first, factors, first_methods.
-- Parameters:
--   mark (number, 20): percent of charge; a value on the mark belongs to 'at or above'
--   mode (mode, calibration_refused): the failure mode to set against the charge
--   step (step, calibration): rows are by the method first tried at this step
--   model (model, any): only this device model
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   method (code): first tried at the step; null where it was not recorded
--   charge (side): 'below' or 'at or above' the mark; null where the charge was not recorded
--   failures (jobs): the mode was seen
--   opportunities (jobs): the step was done and the mode looked for
--   unknown (jobs): the mode was not looked for; in neither number before
--   unknown_failed (jobs): of the unknown, those where it was seen all the same
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
with
-- one row per job on which the mode could occur
judged as (
  select
    s.method,
    case when f.number < $mark then 'below' when f.number >= $mark then 'at or above' end as charge,
    o.state
  from outcomes_first as o
  inner join first_methods as s on s.entry = o.entry and s.step = $step
  left join factors as f on f.entry = o.entry and f.factor = 'charge'
  where o.mode = $mode and ($model is null or o.model = $model)
),
-- one row per (method, side of the mark)
counted as (
  select
    method,
    charge,
    count(*) filter (where state = 'failed') as failures,
    count(*) filter (where state in ('failed', 'fine')) as opportunities,
    count(*) filter (where state in ('unknown', 'unknown_failed')) as unknown,
    count(*) filter (where state = 'unknown_failed') as unknown_failed
  from judged
  group by method, charge
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
select * from rated order by method nulls last, charge desc nulls last

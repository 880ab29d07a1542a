-- Question: how did a failure mode go month by month, and how often did nobody look?
-- Grain: one row per (mode, month of hand-over) by first choice; come-back jobs are left out.
-- Reads: outcomes_first, modes, jobs.
-- Parameters:
--   mode (mode, any): only this failure mode
--   model (model, any): only this device model
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   mode (code): failure mode
--   month (name): YYYY-MM
--   failures (jobs): or first pieces of a part; the mode was seen
--   opportunities (jobs): the mode could have been seen and was looked for
--   unknown (jobs): not looked for, or the record is not clear
--   unknown_failed (jobs): of the unknown, those where it was seen
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
-- Notes:
--   some month is the worst by chance alone: fixstats watch judges months and dates changes
with
-- one row per (mode, unit)
judged as (
  select
    o.mode,
    m.position,
    j.month,
    o.state
  from modes as m
  inner join outcomes_first as o on o.mode = m.mode
  inner join jobs as j on j.entry = o.entry
  where
    j.rework = 'no'
    and ($mode is null or o.mode = $mode)
    and ($model is null or j.model = $model)
),
-- one row per (mode, month)
counted as (
  select
    mode,
    position,
    month,
    count(*) filter (where state = 'failed') as failures,
    count(*) filter (where state in ('failed', 'fine')) as opportunities,
    count(*) filter (where state in ('unknown', 'unknown_failed')) as unknown,
    count(*) filter (where state = 'unknown_failed') as unknown_failed
  from judged
  group by mode, position, month
),
-- the same with rates, in the catalogue's order of modes
rated as (
  select
    * exclude (position),
    failures / nullif(opportunities, 0) as rate,
    wilson_low(failures, opportunities, $z) as low,
    wilson_high(failures, opportunities, $z) as high,
    case when failures = 0 then 1 - power(1 - $level, 1 / nullif(opportunities, 0)) end as at_most
  from counted
  order by position, month
)
select * from rated

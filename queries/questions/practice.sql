-- Question: how does a method's failure rate go with the technician's earlier uses of it?
-- Grain: one row per (method first tried at the step, band of earlier uses).
-- Reads: outcomes_first, practice, jobs, records.step_minutes.
-- Parameters:
--   step (step, battery_release): the step whose methods are asked about
--   mode (mode, flex_cut): the failure mode counted
--   model (model, any): only this device model; uses are counted over all of them
--   confidence_level (level, shop): of the interval
-- Columns:
--   method (code): first tried; jobs without a recorded method or technician are left out
--   band (code): earlier uses of the method by the technician; practised: 100 or more, or in use by
--     the technician within the first 90 days of the records
--   technicians (technicians): how many stand behind the row
--   failures (jobs): the mode was seen
--   opportunities (jobs): it could have occurred and would have been seen
--   unknown (jobs): nobody looked for it
--   unknown_failed (jobs): of the unknown, those where it was seen
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
--   median_minutes (minutes): of the step, all tries, where they were recorded
-- Notes:
--   come-backs are left out; nothing is adjusted: early jobs may be the easier or the harder ones,
--     and uses rise with the calendar; fixstats practice says from when on a method is practised
with
-- one row per job on which the step was done and the mode applied
judged as (
  select
    p.method,
    p.band,
    p.technician,
    o.state,
    m.minutes
  from practice as p
  inner join jobs as j on j.entry = p.entry
  inner join outcomes_first as o on o.entry = p.entry and o.mode = $mode
  left join records.step_minutes as m on m.entry = p.entry and m.step = p.step
  where
    p.step = $step
    and p.band is not null
    and j.rework = 'no'
    and ($model is null or j.model = $model)
),
-- one row per (method, band)
counted as (
  select
    method,
    band,
    count(distinct technician) as technicians,
    count(*) filter (where state = 'failed') as failures,
    count(*) filter (where state in ('failed', 'fine')) as opportunities,
    count(*) filter (where state in ('unknown', 'unknown_failed')) as unknown,
    count(*) filter (where state = 'unknown_failed') as unknown_failed,
    median(minutes) as median_minutes
  from judged
  group by method, band
),
-- the same with rates
rated as (
  select
    method,
    band,
    technicians,
    failures,
    opportunities,
    unknown,
    unknown_failed,
    failures / nullif(opportunities, 0) as rate,
    wilson_low(failures, opportunities, $z) as low,
    wilson_high(failures, opportunities, $z) as high,
    case when failures = 0 then 1 - power(1 - $level, 1 / nullif(opportunities, 0)) end as at_most,
    median_minutes
  from counted
)
select * from rated order by method, band

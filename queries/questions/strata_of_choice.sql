-- Question: who used which method on which model, and how did it go there?
-- Grain: one row per (model, technician, method first tried at the step): the strata in which
--   like is compared with like. Come-back jobs are left out.
-- Reads: outcomes_first, jobs, first_methods.
-- Parameters:
--   step (step, calibration): the step whose methods are set side by side
--   mode (mode, calibration_refused): the failure mode that is counted
--   model (model, any): only this device model
--   technician (technician, any): only this technician
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   model (name): device model
--   technician (name): null where it was not recorded
--   method (code): first tried at the step; null where it was not recorded
--   first_used (date): finished of the first of these jobs
--   last_used (date): finished of the last one; methods that never overlapped in time cannot be
--     told from what else changed between them
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
--   a stratum with one method only compares nothing; where the easy strata have one method and the
--     hard ones the other, the order of all jobs together may turn round within the strata:
--     fixstats compare STEP looks at this
with
-- one row per job on which the step was done and the mode could occur; a mode of a part counts
-- once for the job
judged as (
  select
    o.entry,
    j.model,
    j.technician,
    s.method,
    j.finished,
    bool_or(o.state in ('unknown', 'unknown_failed')) as doubt,
    bool_or(o.state in ('failed', 'unknown_failed')) as seen
  from outcomes_first as o
  inner join jobs as j on j.entry = o.entry
  inner join first_methods as s on s.entry = o.entry and s.step = $step
  where
    o.mode = $mode
    and j.rework = 'no'
    and ($model is null or j.model = $model)
    and ($technician is null or j.technician = $technician)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
  group by o.entry, j.model, j.technician, s.method, j.finished
),
-- one row per stratum and method
counted as (
  select
    model,
    technician,
    method,
    min(finished) as first_used,
    max(finished) as last_used,
    count(*) filter (where seen and not doubt) as failures,
    count(*) filter (where not doubt) as opportunities,
    count(*) filter (where doubt) as unknown,
    count(*) filter (where doubt and seen) as unknown_failed
  from judged
  group by model, technician, method
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
select * from rated order by model, technician nulls last, method nulls last

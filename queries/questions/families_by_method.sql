-- Question: how often does each of the four great families of failures strike, by device model and
--   by the method first chosen at a step?
-- Grain: one row per (family, model, method) with jobs whose state is known or not.
-- Reads: outcomes_first, modes, jobs, first_methods, flags, records.covers.
-- Parameters:
--   step (step, opening): jobs are grouped by the method first tried at this step
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   family (code): any of its modes counts, wherever in the job it arose
--   model (name): device model
--   method (code): first tried at the step; null where it was not recorded
--   failures (jobs): at least one mode of the family was seen
--   opportunities (jobs): every mode of the family that applied was looked for
--   unknown (jobs): one that applied was not looked for; in neither number before
--   unknown_failed (jobs): of the unknown, those where one was seen all the same
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
with
-- one row per job with that step, with its keys
asked as (
  select
    j.entry,
    j.covers,
    j.model,
    s.method
  from jobs as j
  inner join first_methods as s on s.entry = j.entry and s.step = $step
  where
    ($model is null or j.model = $model)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
),
-- one row per (unit of a mode of the four families, job). A sighting that fits several pieces is
-- in doubt as to the piece, not as to the job.
applied as (
  select
    m.family,
    a.entry,
    a.model,
    a.method,
    case
      when m.kind = 'part' then c.mode is null or coalesce(f.unchecked, false)
      else o.state in ('unknown', 'unknown_failed')
    end as doubt,
    o.state in ('failed', 'unknown_failed') as seen
  from asked as a
  inner join outcomes_first as o on o.entry = a.entry
  inner join modes as m on m.mode = o.mode
  left join records.covers as c on c.covers = a.covers and c.mode = o.mode
  left join flags as f on f.entry = a.entry and f.mode = o.mode
  where
    m.family in (
      'broken_tabs', 'display_damage', 'calibration_failures', 'mixed_part_conflicts'
    )
),
-- one row per (family, job) to which any of its modes applied
by_job as (
  select
    family,
    entry,
    model,
    method,
    bool_or(doubt) as doubt,
    bool_or(seen) as seen
  from applied
  group by family, entry, model, method
),
-- one row per (family, model, method)
counted as (
  select
    family,
    model,
    method,
    count(*) filter (where seen and not doubt) as failures,
    count(*) filter (where not doubt) as opportunities,
    count(*) filter (where doubt) as unknown,
    count(*) filter (where doubt and seen) as unknown_failed
  from by_job
  group by family, model, method
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
select * from rated order by family, model, method nulls last

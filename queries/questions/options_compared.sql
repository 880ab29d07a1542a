-- Question: how often did each mode of a step occur with each method, model by model, and how far
--   is that from the most used method?
-- Grain: one row per (mode that can occur at the step, model, method first tried). These are the
--   counts that pooling across models starts from. Come-back jobs are left out.
-- Reads: mode_steps, modes, outcomes_first, jobs, first_methods.
-- Parameters:
--   step (step, opening): the step whose methods are set side by side
--   mode (mode, any): only this failure mode
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   mode (code): failure mode
--   model (name): device model
--   method (code): first tried at the step; null where it was not recorded
--   failures (jobs): the mode was seen
--   opportunities (jobs): it could have occurred and was looked for
--   unknown (jobs): it was not looked for; in neither number before
--   unknown_failed (jobs): of the unknown, those where it was seen all the same
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
--   baseline (code): the method first tried on most of the jobs asked about, all models together
--   baseline_failures (jobs): failures with the baseline on the same model
--   baseline_opportunities (jobs): opportunities with the baseline on the same model
--   difference (fraction): rate minus that of the baseline on the same model; plain subtraction,
--     null where the baseline was not used there
-- Notes:
--   a difference here has no interval and is not like for like: technicians and jobs of the methods
--     may differ; fixstats compare STEP --by model adjusts and says how sure it is
--   for models with few jobs see fixstats rates --by model,STEP --pool
with
-- the modes asked for
asked as (
  select mode
  from mode_steps
  where step = $step and ($mode is null or mode = $mode)
),
-- one row per job on which the step was done, come-backs left out
done as (
  select
    j.entry,
    j.model,
    s.method
  from jobs as j
  inner join first_methods as s on s.entry = j.entry and s.step = $step
  where
    j.rework = 'no'
    and ($model is null or j.model = $model)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
),
-- one row: the method most used, by code where several are
most_used as (
  select method as baseline
  from done
  where method is not null
  group by method
  order by count(*) desc, method
  limit 1
),
-- one row per (mode, model, method)
counted as (
  select
    o.mode,
    d.model,
    d.method,
    count(*) filter (where o.state = 'failed') as failures,
    count(*) filter (where o.state in ('failed', 'fine')) as opportunities,
    count(*) filter (where o.state in ('unknown', 'unknown_failed')) as unknown,
    count(*) filter (where o.state = 'unknown_failed') as unknown_failed
  from asked as a
  inner join outcomes_first as o on o.mode = a.mode
  inner join done as d on d.entry = o.entry
  group by o.mode, d.model, d.method
),
-- the same with rates and the baseline beside, in the catalogue's order of modes
rated as (
  select
    c.mode,
    c.model,
    c.method,
    c.failures,
    c.opportunities,
    c.unknown,
    c.unknown_failed,
    c.failures / nullif(c.opportunities, 0) as rate,
    wilson_low(c.failures, c.opportunities, $z) as low,
    wilson_high(c.failures, c.opportunities, $z) as high,
    case
      when c.failures = 0 then 1 - power(1 - $level, 1 / nullif(c.opportunities, 0))
    end as at_most,
    u.baseline,
    coalesce(b.failures, 0) as baseline_failures,
    coalesce(b.opportunities, 0) as baseline_opportunities,
    c.failures / nullif(c.opportunities, 0) - b.failures / nullif(b.opportunities, 0) as difference
  from counted as c
  left join most_used as u on true
  left join counted as b
    on b.mode = c.mode and b.model = c.model and b.method = u.baseline
  inner join modes as m on m.mode = c.mode
  order by m.position, c.model, c.method nulls last
)
select * from rated

-- Question: how does a method look as the first choice, which carries everything that came after
--   it, and how does it look try by try?
-- Grain: one row per (mode that can occur at the step, method).
-- Reads: mode_steps, modes, outcomes_first, first_methods, outcomes_attempted.
-- Parameters:
--   step (step, battery_release): the step whose methods are set side by side
--   mode (mode, any): only this failure mode
--   model (model, any): only this device model
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   mode (code): failure mode
--   method (code): first tried (first_ columns), or tried (attempted_ columns); null where it was
--     not recorded
--   first_failures (jobs): jobs begun with the method on which the mode was seen, whichever try it
--     came from
--   first_opportunities (jobs): jobs begun with the method, the mode looked for
--   first_unknown (jobs): jobs begun with the method, the mode not looked for
--   first_rate (fraction): first_failures of first_opportunities
--   first_low (fraction): lower end of the Wilson interval
--   first_high (fraction): upper end of the Wilson interval
--   first_at_most (fraction): where first_failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / first_opportunities); else null
--   attempted_failures (attempts): tries with the method that the record blames
--   attempted_opportunities (attempts): tries with the method; of a mode that only some methods
--     can cause, tries with these
--   attempted_unknown (attempts): the mode not looked for, or the record does not say which try
--   attempted_rate (fraction): attempted_failures of attempted_opportunities; later tries follow a
--     failed one and are on harder jobs, so the method that comes to the rescue looks worse
--   attempted_low (fraction): lower end of the Wilson interval
--   attempted_high (fraction): upper end of the Wilson interval
--   attempted_at_most (fraction): where attempted_failures is 0, the exact one-sided upper limit
--     at the confidence_level, 1 - (1 - level) ^ (1 / attempted_opportunities); else null
-- Notes:
--   later tries follow a failed one and are on harder jobs, so that the method which comes to the
--     rescue looks worse as attempted; this shop's records cannot tell the method from the job
with
-- the modes asked for
asked as (
  select mode
  from mode_steps
  where step = $step and ($mode is null or mode = $mode)
),
-- one row per (mode, method first tried)
by_first as (
  select
    o.mode,
    s.method,
    count(*) filter (where o.state = 'failed') as failures,
    count(*) filter (where o.state in ('failed', 'fine')) as opportunities,
    count(*) filter (where o.state in ('unknown', 'unknown_failed')) as unknown
  from asked as a
  inner join outcomes_first as o on o.mode = a.mode
  inner join first_methods as s on s.entry = o.entry and s.step = $step
  where $model is null or o.model = $model
  group by o.mode, s.method
),
-- one row per (mode, method tried at the step)
by_attempt as (
  select
    o.mode,
    o.option as method,
    count(*) filter (where o.state = 'failed') as failures,
    count(*) filter (where o.state in ('failed', 'fine')) as opportunities,
    count(*) filter (where o.state in ('unknown', 'unknown_failed')) as unknown
  from asked as a
  inner join outcomes_attempted as o on o.mode = a.mode and o.place = $step
  where $model is null or o.model = $model
  group by o.mode, o.option
),
-- both side by side; a method that was never first, or that cannot cause the mode, has zeros
paired as (
  select
    coalesce(f.mode, t.mode) as mode,
    coalesce(f.method, t.method) as method,
    coalesce(f.failures, 0) as first_failures,
    coalesce(f.opportunities, 0) as first_opportunities,
    coalesce(f.unknown, 0) as first_unknown,
    coalesce(t.failures, 0) as attempted_failures,
    coalesce(t.opportunities, 0) as attempted_opportunities,
    coalesce(t.unknown, 0) as attempted_unknown
  from by_first as f
  full join by_attempt as t on t.mode = f.mode and t.method is not distinct from f.method
),
-- the same with rates, in the catalogue's order of modes
rated as (
  select
    p.mode,
    p.method,
    p.first_failures,
    p.first_opportunities,
    p.first_unknown,
    p.first_failures / nullif(p.first_opportunities, 0) as first_rate,
    wilson_low(p.first_failures, p.first_opportunities, $z) as first_low,
    wilson_high(p.first_failures, p.first_opportunities, $z) as first_high,
    case
      when p.first_failures = 0
        then 1 - power(1 - $level, 1 / nullif(p.first_opportunities, 0))
    end as first_at_most,
    p.attempted_failures,
    p.attempted_opportunities,
    p.attempted_unknown,
    p.attempted_failures / nullif(p.attempted_opportunities, 0) as attempted_rate,
    wilson_low(p.attempted_failures, p.attempted_opportunities, $z) as attempted_low,
    wilson_high(p.attempted_failures, p.attempted_opportunities, $z) as attempted_high,
    case
      when p.attempted_failures = 0
        then 1 - power(1 - $level, 1 / nullif(p.attempted_opportunities, 0))
    end as attempted_at_most
  from paired as p
  inner join modes as m on m.mode = p.mode
  order by m.position, p.method nulls last
)
select * from rated

-- Question: how often does the first method not get there, so that the step needs another try?
-- Grain: one row per (step, method first tried).
-- Reads: jobs, attempts, steps.
-- Parameters:
--   step (step, any): only this step
--   model (model, any): only this device model
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   step (code): step of the job
--   method (code): first tried; null where it was not recorded
--   failures (jobs): more than one try
--   opportunities (jobs): the step was done and its tries were recorded
--   unknown (jobs): the step was done and left blank, so nobody knows how many tries it took
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
--   same_again (jobs): of the failures, those where the second try was the same method
--   most_tries (attempts): the most tries on one job
with
-- one row per (job, step that was done)
tried as (
  select
    a.step,
    a.entry,
    max(case when a.attempt = 1 then a.method end) as method,
    max(case when a.attempt = 2 then a.method end) as second,
    max(a.attempt) as tries
  from attempts as a
  inner join jobs as j on j.entry = a.entry
  where ($step is null or a.step = $step) and ($model is null or j.model = $model)
  group by a.step, a.entry
),
-- one row per (step, method)
counted as (
  select
    step,
    method,
    count(*) filter (where tries > 1) as failures,
    count(method) as opportunities,
    count(*) - count(method) as unknown,
    count(*) filter (where second = method) as same_again,
    max(case when method is not null then tries end) as most_tries
  from tried
  group by step, method
),
-- the same with rates, in bench order
rated as (
  select
    c.step,
    c.method,
    c.failures,
    c.opportunities,
    c.unknown,
    c.failures / nullif(c.opportunities, 0) as rate,
    wilson_low(c.failures, c.opportunities, $z) as low,
    wilson_high(c.failures, c.opportunities, $z) as high,
    case
      when c.failures = 0 then 1 - power(1 - $level, 1 / nullif(c.opportunities, 0))
    end as at_most,
    c.same_again,
    c.most_tries
  from counted as c
  inner join steps as s on s.step = c.step
  order by s.position, c.method nulls last
)
select * from rated

-- Question: how long does a step take with each method?
-- Grain: one row per (model, method first tried at the step).
-- Reads: jobs, first_methods, attempts, records.step_minutes.
-- Parameters:
--   step (step, battery_release): the step whose minutes are asked for
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
-- Columns:
--   model (name): device model
--   method (code): first tried; its minutes hold all tries at the step, rescue included; null
--     where it was not recorded
--   n (jobs): minutes were recorded; the other figures are of these
--   not_recorded (jobs): the step was done, its minutes were not recorded
--   several_tries (jobs): of the n, those with more than one try
--   lower_quartile (minutes): a quarter of the jobs took no longer
--   median (minutes): half of the jobs took no longer
--   upper_quartile (minutes): three quarters of the jobs took no longer
--   longest (minutes): the longest one
with
-- one row per job on which the step was done
asked as (
  select
    j.model,
    s.method,
    m.minutes,
    exists (
      select 1 from attempts as a where a.entry = j.entry and a.step = $step and a.attempt > 1
    ) as again
  from jobs as j
  inner join first_methods as s on s.entry = j.entry and s.step = $step
  left join records.step_minutes as m on m.entry = j.entry and m.step = $step
  where
    ($model is null or j.model = $model)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
),
-- one row per (model, method)
summed as (
  select
    model,
    method,
    count(minutes) as n,
    count(*) - count(minutes) as not_recorded,
    count(*) filter (where again and minutes is not null) as several_tries,
    quantile_cont(minutes, 0.25) as lower_quartile,
    median(minutes) as median,
    quantile_cont(minutes, 0.75) as upper_quartile,
    max(minutes) as longest
  from asked
  group by model, method
)
select * from summed order by model, method nulls last

-- Question: how many repaired devices are known to have come back because of the repair?
-- Grain: one row per repair (as recorded on the job; several together are a row of their own).
-- Reads: followups.
-- Parameters:
--   days (days, shop): follow-up after hand-over; the shop's warranty unless said otherwise
--   model (model, any): only this device model
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   repair (codes): of the first job, not of the come-back
--   completed (jobs): completed jobs, come-backs themselves included
--   came_back (jobs): a return is recorded, at any time and for any reason; the younger the job,
--     the less time it had, so this is no rate
--   unrelated (jobs): of these, those that came back for a reason that has nothing to do with it
--   failures (jobs): of the opportunities, those that came back within the days, not unrelated
--   opportunities (jobs): completed so long ago that all the days lie within the records of that
--     branch
--   rate (fraction): failures of opportunities. What it cannot tell: devices that went elsewhere
--     or were never brought back, so it is at most as high as the truth; and how the youngest jobs
--     will do
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
-- Notes:
--   only returns to this workshop are known: devices that went elsewhere or were never brought back
--     are not, so the true rate may be higher
--   the youngest jobs are not among the opportunities, so this says nothing of how they will do
with
-- one row per completed job: whether all the days lie within the records of its branch
followed as (
  select
    repair,
    days_back,
    coalesce(reason = 'unrelated', false) as unrelated,
    days_watched >= $days as long_enough
  from followups
  where $model is null or model = $model
),
-- one row per repair
counted as (
  select
    repair,
    count(*) as completed,
    count(days_back) as came_back,
    count(*) filter (where unrelated) as unrelated,
    count(*) filter (where long_enough and not unrelated and days_back <= $days) as failures,
    count(*) filter (where long_enough) as opportunities
  from followed
  group by repair
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
select * from rated order by repair

-- Question: how do the failures of each mode and family come day by day, against what was expected?
-- Grain: one row per (mode or family, day of hand-over from since on).
-- Reads: watched_days, watched_risks (temporary tables).
-- Parameters: since (first day), shift (odds ratio looked for, less 1).
-- Columns: mode (null: of a family); family (null: of a mode); day; failures, opportunities (units);
--   expected (failures, the sum of the risks of the units); quiet (the sum over all units of what a
--   unit takes from the CUSUM: ln(1 + shift * risk)).
with
-- one row per (mode or family, model, day) with the risk of one unit
risky as (
  select
    d.mode,
    d.family,
    d.day,
    d.failures,
    d.opportunities,
    r.risk
  from watched_days as d
  inner join watched_risks as r
    on r.subject = coalesce(d.mode, d.family)
    and r.whole = (d.mode is null)
    and r.model = d.model
  where d.day >= $since
),
-- one row per (mode or family, day)
by_day as (
  select
    mode,
    family,
    day,
    cast(sum(failures) as bigint) as failures,
    cast(sum(opportunities) as bigint) as opportunities,
    sum(opportunities * risk) as expected,
    sum(opportunities * ln(1 + $shift * risk)) as quiet
  from risky
  group by mode, family, day
  having sum(opportunities) > 0
)
select * from by_day
order by day, mode, family

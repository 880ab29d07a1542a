-- Question: how do the failures of each mode and family come day by day, against what was expected?
-- Grain: one row per (mode or family, watched day of hand-over).
-- Reads: the rows of watch_counts by model and finished (slot rows), watched_risks.
-- Parameters: shift (odds ratio looked for, less 1); slot: rows.
-- Columns: mode (null: of a family); family (null: of a mode); day; failures, opportunities (units);
--   expected (failures, the sum of the risks of the units); quiet (the sum over all units of what a
--   unit takes from the CUSUM: ln(1 + shift * risk)).
with
-- one row per (mode or family, model, day) with the risk of one unit
risky as (
  select
    d.mode,
    d.family,
    d.finished as day,
    d.failures,
    d.opportunities,
    r.risk
  from (/*rows*/) as d
  inner join watched_risks as r
    on r.subject = coalesce(d.mode, d.family)
    and r.whole = (d.mode is null)
    and r.model = d.model
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

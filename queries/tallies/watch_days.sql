-- Question: how do the failures of each mode and family come day by day, against what was expected?
-- Grain: one row per (mode or family, watched day of hand-over).
-- Reads: the rows of watch_rows by model and finished (slot rows), watched_risks, watched_subjects.
-- Parameters: shift (odds ratio looked for, less 1); slot: rows.
-- Columns: mode (null: of a family); family (null: of a mode); day; failures, opportunities (units);
--   expected (failures, the sum of the risks of the units); quiet (the sum over all units of what a
--   unit takes from the CUSUM: ln(1 + shift * risk)).
with
-- what one unit of a mode or family counts on a device model; as decimals, whose sum is the same in
-- whatever order
risks as (
  select
    subject,
    model,
    cast(risk as decimal(18, 15)) as risk,
    cast(ln(1 + $shift * risk) as decimal(18, 15)) as quiet
  from watched_risks
),
-- one row per (mode or family, day)
by_day as (
  select
    d.subject,
    d.finished,
    cast(sum(d.failures) as bigint) as failures,
    cast(sum(d.opportunities) as bigint) as opportunities,
    cast(sum(d.opportunities * r.risk) as double) as expected,
    cast(sum(d.opportunities * r.quiet) as double) as quiet
  from (/*rows*/) as d
  inner join risks as r on r.subject = d.subject and r.model = d.model
  group by d.subject, d.finished
  having sum(d.opportunities) > 0
),
-- the same with the names
named as (
  select
    s.mode,
    s.family,
    d.finished as day,
    d.failures,
    d.opportunities,
    d.expected,
    d.quiet
  from by_day as d
  inner join watched_subjects as s on s.subject = d.subject
)
select * from named
order by day, mode, family

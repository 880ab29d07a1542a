-- Question: how did the failures of one group come, day by day?
-- Grain: one row per (mode, day of hand-over).
-- Reads: the rows of modes (slot rows).
-- Parameters: none; slot: rows.
-- Columns: mode; day; failures, opportunities (units).
with
-- one row per (mode, day)
by_day as (
  select
    mode,
    day,
    cast(sum(failures) as bigint) as failures,
    cast(sum(opportunities) as bigint) as opportunities
  from (/*rows*/) as counted
  group by mode, day
)
select * from by_day
where opportunities > 0
order by mode, day

-- Question: how did the failures of some values of a group come, day by day?
-- Grain: one row per (mode, value, day of hand-over).
-- Reads: the rows of modes by value and day (slot modes).
-- Parameters: none; slots: value (the column of the group), modes.
-- Columns: mode; value; day; failures, opportunities (units).
with
-- one row per (mode, value, day)
by_day as (
  select
    mode,
    /*value*/ as value,
    finished as day,
    cast(failures as bigint) as failures,
    cast(opportunities as bigint) as opportunities
  from (/*modes*/) as of_modes
)
select * from by_day
where opportunities > 0
order by mode, value, day

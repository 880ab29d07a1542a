-- Question: how did the failures of some values of a group come, day by day?
-- Grain: one row per (mode, value, day of hand-over).
-- Reads: the rows of watch_counts by value and finished (slot rows).
-- Parameters: none; slots: value (the column of the group), rows.
-- Columns: mode; value; day; failures, opportunities (units).
select
  mode,
  /*value*/ as value,
  finished as day,
  failures,
  opportunities
from (/*rows*/) as counted
where opportunities > 0
order by mode, value, day

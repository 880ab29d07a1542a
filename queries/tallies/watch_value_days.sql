-- Question: how did the failures of some values of a group come, day by day?
-- Grain: one row per (mode, value, day of hand-over).
-- Reads: the rows of watch_counts by value and finished (slot rows), watched_subjects.
-- Parameters: none; slots: value (the column of the group), rows.
-- Columns: mode; value; day; failures, opportunities (units).
select
  s.mode,
  c./*value*/ as value,
  c.finished as day,
  c.failures,
  c.opportunities
from (/*rows*/) as c
inner join watched_subjects as s on s.subject = c.subject
where c.opportunities > 0
order by mode, value, day

-- Question: on which jobs does a record speak of a mode at all?
-- Grain: one row per (job, mode) that was seen, unchecked or there at intake: few.
-- Reads: mentions.
-- Parameters: none.
-- Columns: entry; mode; seen, unchecked, preexisting (true or false).
create or replace temp view flags as
select
  entry,
  mode,
  max(seen) = 1 as seen,
  max(unchecked) = 1 as unchecked,
  max(preexisting) = 1 as preexisting
from mentions
group by entry, mode

-- Question: which kinds of job are there?
-- Grain: one row per set of jobs with the same plan, the same in the device, and the same covers: few.
-- Reads: watched_asked.
-- Parameters: none. It becomes the temporary table watched_kinds.
-- Columns: standing; things; covers; example (entry of one of these jobs).
create or replace temp table watched_kinds as
select
  standing,
  things,
  covers,
  min(entry) as example
from watched_asked
group by standing, things, covers

-- Question: on how many jobs with a failure do the records not say which attempt or piece it was?
-- Grain: one row per mode seen anywhere.
-- Reads: marks_attempted.
-- Parameters: none.
-- Columns: mode; jobs (on which a sighting fits several attempts or pieces); seen (jobs on which
--   the mode was seen at all).
with
-- one row per (mode, job) on which the mode was seen
sightings as (
  select
    mode,
    entry,
    max(case when unclear then 1 else 0 end) as unclear
  from marks_attempted
  where not excluded and (seen or unclear)
  group by mode, entry
),
-- one row per mode
counted as (
  select
    mode,
    cast(sum(unclear) as bigint) as jobs,
    count(*) as seen
  from sightings
  group by mode
)
select * from counted
order by mode

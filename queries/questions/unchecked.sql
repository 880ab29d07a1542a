-- Question: which failures did nobody look for, so that the records cannot speak of them?
-- Grain: one row per failure mode that could have occurred.
-- Reads: outcomes_first, modes, jobs, flags, records.covers.
-- Parameters:
--   mode (mode, any): only this failure mode
--   technician (technician, any): only jobs of this one
--   since (date, any): first day of finished
--   until (date, any): last day of finished
-- Columns:
--   mode (code): failure mode
--   safety (true or false): it can hurt someone
--   jobs (jobs): it could have occurred, or nobody can tell
--   not_covered (jobs): the sheet was not one that notes this mode
--   unchecked (jobs): the sheet was, but on this job nobody looked
--   known (jobs): neither of both; what rates rest on, but for what other gaps leave open
--   share_known (fraction): known of jobs; a fact about the records, so it has no interval
with
-- one row per (mode, job), be it one unit or several pieces
asked as (
  select distinct
    o.mode,
    o.entry
  from outcomes_first as o
  inner join jobs as j on j.entry = o.entry
  where
    ($mode is null or o.mode = $mode)
    and ($technician is null or j.technician = $technician)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
),
-- the same with the reason why nobody can tell
judged as (
  select
    a.mode,
    c.mode is null as not_covered,
    c.mode is not null and coalesce(f.unchecked, false) as unchecked
  from asked as a
  inner join jobs as j on j.entry = a.entry
  left join records.covers as c on c.covers = j.covers and c.mode = a.mode
  left join flags as f on f.entry = a.entry and f.mode = a.mode
),
-- one row per mode
counted as (
  select
    mode,
    count(*) as jobs,
    count(*) filter (where not_covered) as not_covered,
    count(*) filter (where unchecked) as unchecked,
    count(*) filter (where not not_covered and not unchecked) as known
  from judged
  group by mode
),
-- the same with shares, the least known first
shared as (
  select
    c.mode,
    m.safety,
    c.jobs,
    c.not_covered,
    c.unchecked,
    c.known,
    c.known / c.jobs as share_known
  from counted as c
  inner join modes as m on m.mode = c.mode
  order by share_known, m.position
)
select * from shared

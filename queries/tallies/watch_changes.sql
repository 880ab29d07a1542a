-- Question: what do the records change of the counts of units, of which nothing would be said else?
-- Grain: one row per (mode, unit by first choice) that a record speaks of.
-- Reads: marks_first (of the watched jobs, see watch_kept), watched_jobs, watched_units.
-- Parameters: none. It becomes the temporary table watched_changes.
-- Columns: those of the job as in watched_jobs; subject (number of the mode); target; place (part, else
--   ''); failures (1 or 0); opportunities, unknown (1, 0 or -1: more or less than if no record spoke of
--   the unit).
create or replace temp table watched_changes as
with
-- the units that a record speaks of, as they were counted and as they are
spoken as (
  select
    j.*,
    u.subject,
    u.target,
    u.place,
    k.seen or k.unclear as seen,
    k.excluded,
    u.maybe or not u.looked as doubt_before,
    u.maybe or not u.looked or k.unchecked or k.unclear as doubt
  from marks_first as k
  inner join watched_jobs as j on j.entry = k.entry
  inner join watched_units as u
    on u.stand_in = j.stand_in and u.mode = k.mode and u.place = k.place
)
select
  entry,
  model,
  month,
  quarter,
  technician,
  finished,
  watched,
  subject,
  target,
  place,
  case when seen and not doubt and not excluded then 1 else 0 end as failures,
  case when doubt or excluded then 0 else 1 end
    - case when doubt_before then 0 else 1 end as opportunities,
  case when doubt and not excluded then 1 else 0 end
    - case when doubt_before then 1 else 0 end as unknown
from spoken

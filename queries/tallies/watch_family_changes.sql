-- Question: what do the records change of the counts of families, of which nothing would be said else?
-- Grain: one row per (family, job) that a record speaks of.
-- Reads: flags (of the watched jobs, see watch_kept), watched_jobs, watched_units, watched_families.
-- Parameters: none. The rows are added to the temporary table watched_changes.
-- Columns: as in watch_changes; subject and target (number of the family); place ('').
-- A family is counted by job: seen where any mode was seen, in doubt where any that applied is.
insert into watched_changes
with
-- one row per (stand-in, family, mode): its units, and those in doubt if no record speaks
of_modes as (
  select
    u.stand_in,
    f.family,
    u.mode,
    u.kind,
    count(*) as units,
    sum(case when u.maybe or not u.looked then 1 else 0 end) as doubtful
  from watched_units as u
  inner join watched_families as f on f.mode = u.mode
  group by u.stand_in, f.family, u.mode, u.kind
),
-- one row per (stand-in, family)
of_families as (
  select
    stand_in,
    family,
    sum(units) as units,
    sum(doubtful) as doubtful
  from of_modes
  group by stand_in, family
),
-- one row per mark on a mode of a family; what was there at intake could not arise, but for a piece
-- newly fitted
marked as (
  select
    k.entry,
    o.stand_in,
    o.family,
    o.units,
    o.doubtful,
    k.seen,
    k.unchecked,
    k.preexisting and o.kind <> 'part' as excluded
  from flags as k
  inner join watched_jobs as j on j.entry = k.entry
  inner join of_modes as o on o.stand_in = j.stand_in and o.mode = k.mode
),
-- one row per (job, family) that a record speaks of: units gone, and units come into doubt
spoken as (
  select
    entry,
    stand_in,
    family,
    sum(case when excluded then units else 0 end) as gone,
    sum(
      case when excluded then -doubtful when unchecked then units - doubtful else 0 end
    ) as into_doubt,
    max(case when seen and not excluded then 1 else 0 end) as seen
  from marked
  group by entry, stand_in, family
),
-- the same as it was counted and as it is
told as (
  select
    s.entry,
    s.family,
    s.seen = 1 as seen,
    f.units = s.gone as excluded,
    f.doubtful > 0 as doubt_before,
    f.doubtful + s.into_doubt > 0 as doubt
  from spoken as s
  inner join of_families as f on f.stand_in = s.stand_in and f.family = s.family
),
-- what that changes
changes as (
  select
    j.entry,
    j.model,
    j.month,
    j.quarter,
    j.technician,
    j.finished,
    j.watched,
    t.family as subject,
    t.family as target,
    '' as place,
    case when seen and not doubt and not excluded then 1 else 0 end as failures,
    case when doubt or excluded then 0 else 1 end
      - case when doubt_before then 0 else 1 end as opportunities,
    case when doubt and not excluded then 1 else 0 end
      - case when doubt_before then 1 else 0 end as unknown
  from told as t
  inner join watched_jobs as j on j.entry = t.entry
)
select * from changes

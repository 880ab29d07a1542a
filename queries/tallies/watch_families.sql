-- Question: on how many jobs did any mode of a family go wrong, out of how many where every mode that
--   applied was looked for?
-- Grain: one row per (family, keys).
-- Reads: watched_jobs, watched_units, watched_families (a temporary table), flags (of the watched jobs, see watch_kept).
-- Parameters: none; slots: keys, filters (which of the jobs).
-- Columns: mode (null); family; the keys; failures, opportunities, unknown (jobs).
-- As in the statement modes, all jobs are counted as if no record spoke of them, by their stand-in;
-- then those that a record speaks of are put right.
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
-- all jobs, as if no record spoke of them
plain as (
  select
    f.family,
    /*keys*/
    0 as failures,
    case when f.doubtful = 0 then c.jobs else 0 end as opportunities,
    case when f.doubtful = 0 then 0 else c.jobs end as unknown
  from (
    select
      stand_in,
      /*keys*/
      count(*) as jobs
    from watched_jobs
    where true /*filters*/
    group by all
  ) as c
  inner join of_families as f on f.stand_in = c.stand_in
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
  inner join (select * from watched_jobs where true /*filters*/) as j on j.entry = k.entry
  inner join of_modes as o on o.stand_in = j.stand_in and o.mode = k.mode
),
-- one row per (job, family) that a record speaks of: units gone, units come into doubt
spoken as (
  select
    entry,
    stand_in,
    family,
    sum(case when excluded then units else 0 end) as gone,
    sum(
      case when excluded then -doubtful when unchecked then units - doubtful else 0 end
    ) as change,
    max(case when seen and not excluded then 1 else 0 end) as seen
  from marked
  group by entry, stand_in, family
),
-- the same as it is and as "plain" counted it
told as (
  select
    s.entry,
    s.family,
    s.seen,
    f.units > s.gone as applied,
    f.doubtful + s.change > 0 as doubt,
    f.doubtful > 0 as doubt_before
  from spoken as s
  inner join of_families as f on f.stand_in = s.stand_in and f.family = s.family
),
-- what those jobs change
put_right as (
  select
    t.family,
    /*keys*/
    case when t.applied and not t.doubt then t.seen else 0 end as failures,
    case when t.applied and not t.doubt then 1 else 0 end
      - case when t.doubt_before then 0 else 1 end as opportunities,
    case when t.applied and t.doubt then 1 else 0 end
      - case when t.doubt_before then 1 else 0 end as unknown
  from told as t
  inner join watched_jobs as j on j.entry = t.entry
),
-- one row per (family, keys)
by_keys as (
  select
    cast(null as varchar) as mode,
    family,
    /*keys*/
    sum(failures) as failures,
    sum(opportunities) as opportunities,
    sum(unknown) as unknown
  from (select * from plain union all select * from put_right) as both_parts
  group by all
)
select * from by_keys

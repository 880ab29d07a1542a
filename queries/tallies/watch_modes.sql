-- Question: how often did each mode go wrong, out of how many opportunities?
-- Grain: one row per (mode, keys).
-- Reads: watched_jobs or group_jobs (slot jobs), watched_units, watched_changes, asked_modes,
--   records.covers.
-- Parameters: none; slots: jobs, keys, filters (which of the jobs), places (condition on the units'
--   place).
-- Columns: mode; the keys; failures, opportunities, unknown (units).
-- All jobs are counted as if no record spoke of them, by their stand-in; then the units that a record
-- speaks of are put right.
with
-- jobs counted by the one that stands in for them
counted as (
  select
    stand_in,
    /*keys*/
    count(*) as jobs
  from /*jobs*/
  where true /*filters*/
  group by all
),
-- one row per (stand-in, target, maybe): modes of one target share their units
sizes as (
  select
    stand_in,
    covers,
    target,
    maybe,
    count(*) as units
  from (select distinct stand_in, covers, target, place, maybe from watched_units
    where true /*places*/) as units
  group by stand_in, covers, target, maybe
),
-- one row per (target, covers, maybe, keys)
totals as (
  select
    s.target,
    s.covers,
    s.maybe,
    /*keys*/
    sum(s.units * c.jobs) as units
  from counted as c
  inner join sizes as s on s.stand_in = c.stand_in
  group by all
),
-- all units by mode, as if no record spoke of them
plain as (
  select
    m.mode,
    /*keys*/
    0 as failures,
    case when c.mode is null or t.maybe then 0 else t.units end as opportunities,
    case when c.mode is null or t.maybe then t.units else 0 end as unknown
  from totals as t
  inner join asked_modes as m on m.target = t.target
  left join records.covers as c on c.covers = t.covers and c.mode = m.mode
),
-- what the records change
put_right as (
  select
    c.mode,
    /*keys*/
    c.failures,
    c.opportunities,
    c.unknown
  from (select * from watched_changes where true /*places*/) as c
  inner join (select * from /*jobs*/ where true /*filters*/) as j on j.entry = c.entry
),
-- one row per (mode, keys)
by_keys as (
  select
    mode,
    /*keys*/
    sum(failures) as failures,
    sum(opportunities) as opportunities,
    sum(unknown) as unknown
  from (select * from plain union all select * from put_right) as both_parts
  group by all
)
select * from by_keys

-- Question: which counts make up those of each mode and family?
-- Grain: several rows per (mode or family, keys), to be added up: all units as if no record spoke of
--   them, and what each record changes.
-- Reads: watched_jobs or watched_jobs_of_PART (slot jobs), watched_units, watched_changes.
-- Parameters: none; slots: jobs, keys, filters (which of the jobs), only (which of the units).
-- Columns: mode (null: of a family); family (null: of a mode); the keys; failures, opportunities,
--   unknown (units; of a family jobs).
-- All jobs are counted as if no record spoke of them, by their stand-in; then what a record speaks of
-- is put right.
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
-- units of stand-ins: modes of one target share them
units as (
  select distinct
    stand_in,
    covers,
    target,
    place,
    maybe
  from watched_units
  where true /*only*/
),
-- one row per (stand-in, target, maybe)
sizes as (
  select
    stand_in,
    covers,
    target,
    maybe,
    count(*) as units
  from units
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
-- one row per (covers, target, mode or family of it)
subjects as (
  select distinct
    covers,
    target,
    mode,
    family,
    looked
  from watched_units
  where true /*only*/
),
-- all units, as if no record spoke of them
plain as (
  select
    m.mode,
    m.family,
    /*keys*/
    0 as failures,
    case when m.looked and not t.maybe then t.units else 0 end as opportunities,
    case when m.looked and not t.maybe then 0 else t.units end as unknown
  from totals as t
  inner join subjects as m
    on m.target = t.target and m.covers is not distinct from t.covers
),
-- what the records change
put_right as (
  select
    c.mode,
    c.family,
    /*keys*/
    c.failures,
    c.opportunities,
    c.unknown
  from (select * from watched_changes where true /*only*/) as c
  inner join (select * from /*jobs*/ where true /*filters*/) as j on j.entry = c.entry
),
-- both, not added up
both_parts as (
  select * from plain
  union all
  select * from put_right
)
select * from both_parts

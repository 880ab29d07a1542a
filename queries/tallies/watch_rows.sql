-- Question: which counts make up those of each mode and family?
-- Grain: several rows per (mode or family, keys), to be added up: all units as if no record spoke of
--   them, and what each record changes.
-- Reads: watched_jobs and watched_changes, or those of a part (slots jobs, changes), watched_units.
-- Parameters: none; slots: jobs, changes, keys, filters (which of the jobs), only (which of the units).
-- Columns: subject (number of the mode or family); the keys; failures, opportunities, unknown (units;
--   of a family jobs).
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
-- one row per (stand-in, kind of unit: target, covers and maybe, as one number)
sizes as (
  select
    stand_in,
    covers,
    target,
    maybe,
    dense_rank() over (order by target, covers, maybe) as kind,
    count(*) as units
  from units
  group by stand_in, covers, target, maybe
),
-- one row per (kind of unit, keys)
totals as (
  select
    s.kind,
    /*keys*/
    sum(s.units * c.jobs) as units
  from counted as c
  inner join sizes as s on s.stand_in = c.stand_in
  group by all
),
-- one row per (kind of unit, mode or family of it)
subjects as (
  select distinct
    s.kind,
    u.subject,
    u.looked and not s.maybe as known
  from sizes as s
  inner join (select * from watched_units where true /*only*/) as u
    on u.target = s.target and u.covers is not distinct from s.covers
),
-- all units, as if no record spoke of them
plain as (
  select
    m.subject,
    /*keys*/
    0 as failures,
    case when m.known then t.units else 0 end as opportunities,
    case when m.known then 0 else t.units end as unknown
  from totals as t
  inner join subjects as m on m.kind = t.kind
),
-- what the records change
put_right as (
  select
    subject,
    /*keys*/
    failures,
    opportunities,
    unknown
  from /*changes*/
  where true /*filters*/ /*only*/
),
-- both, not added up
both_parts as (
  select * from plain
  union all
  select * from put_right
)
select * from both_parts

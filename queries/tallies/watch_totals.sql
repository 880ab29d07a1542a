-- Question: how many units has each target, whatever the records say of them?
-- Grain: one row per (target, covers, maybe, keys).
-- Reads: watched_jobs or group_jobs (slot jobs), watched_units.
-- Parameters: none; slots: jobs, keys, filters (which of the jobs), places (condition on the units'
--   place). It becomes the temporary table asked_totals, which the statement modes adds up.
-- Columns: target; covers; maybe; the keys; cluster (null: not counted by technician); units.
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
-- one row per unit of a stand-in: modes of one target share their units
units as (
  select distinct
    stand_in,
    covers,
    target,
    place,
    maybe
  from watched_units
  where true /*places*/
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
    cast(null as varchar) as cluster,
    sum(s.units * c.jobs) as units
  from counted as c
  inner join sizes as s on s.stand_in = c.stand_in
  group by all
)
select * from totals

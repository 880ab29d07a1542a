-- Question: which units are asked about, with which keys?
-- Grain: one row per (target, unit).
-- Reads: units_first, units_beside_steps or units_attempted (slot units), asked_jobs, asked_modes,
--   asked_values.
-- Parameters: none; slots: units, keys, filters. It becomes asked_units, and asked_listed_first or
--   asked_listed_attempted without the jobs that are counted by plan.
-- Columns: target; entry, place, number; maybe; covers; cluster (technician); the keys.
with
-- one row per unit with its keys: its own method or grade where a key names its place
keyed as (
  select
    u.target,
    u.entry,
    u.place,
    u.number,
    u.maybe,
    /*keys*/
    j.covers,
    j.cluster
  from /*units*/ as u
  inner join asked_jobs as j on j.entry = u.entry
  where u.target in (select target from asked_modes)
)
select * from keyed
where true /*filters*/

-- Question: which units are asked about, with which keys?
-- Grain: one row per (target, unit).
-- Reads: units_first or units_attempted (slot view), asked_jobs, asked_modes, asked_values.
-- Parameters: none; slots: view, keys, filters.
-- Columns: target; entry, place, number; maybe; covers; cluster (technician); the keys.
create or replace temp view asked_units as
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
  from units_/*view*/ as u
  inner join asked_jobs as j on j.entry = u.entry
  where u.target in (select target from asked_modes)
)
select * from keyed
where true /*filters*/

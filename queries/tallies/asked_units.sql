-- Question: which units are asked about, with which keys?
-- Grain: one row per (target, unit).
-- Reads: units_first or units_attempted (slot units), asked_jobs, asked_values.
-- Parameters: none; slots: keys, targets (numbers), filters.
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
    u.covers,
    j.cluster
  from /*units*/ as u
  inner join asked_jobs as j on j.entry = u.entry
  where u.target in (/*targets*/)
)
select * from keyed
where true /*filters*/

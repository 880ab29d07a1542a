-- Question: how many units has each target, whatever the records say of them (view: attempted)?
-- Grain: one row per (target, covers, maybe, keys, technician).
-- Reads: asked_units.
-- Parameters: none; slot: keys.
-- Columns: target; covers; maybe; the keys; cluster (technician); units.
create or replace temp view asked_totals as
select
  target,
  covers,
  maybe,
  /*keys*/
  cluster,
  count(*) as units
from asked_units
group by all

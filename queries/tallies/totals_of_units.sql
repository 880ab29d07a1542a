-- Question: how many units has each target, whatever the records say of them?
-- Grain: one row per (target, covers, maybe, keys, technician).
-- Reads: asked_listed.
-- Parameters: none; slot: keys.
-- Columns: target; covers; maybe; the keys; cluster (technician); units.
select
  target,
  covers,
  maybe,
  /*keys*/
  cluster,
  count(*) as units
from asked_listed
group by all

-- Question: how many units has each target, whatever the records say of them?
-- Grain: one row per (target, covers, maybe, keys, technician).
-- Reads: asked_listed_first (as attempted: asked_listed_attempted).
-- Parameters: none; slots: view, keys.
-- Columns: target; covers; maybe; the keys; cluster (technician); units.
select
  target,
  covers,
  maybe,
  /*keys*/
  cluster,
  count(*) as units
from asked_listed_/*view*/
group by all

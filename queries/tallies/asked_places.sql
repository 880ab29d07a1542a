-- Question: at which steps or parts can the modes asked for happen?
-- Grain: one row per (target, place).
-- Reads: asked_modes, target_places.
-- Parameters: none.
-- Columns: target; place (step or part).
select distinct
  p.target,
  p.place
from asked_modes as m
inner join target_places as p on p.target = m.target

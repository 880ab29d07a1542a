-- Question: which units beside steps do the modes asked for have, at the place asked about?
-- Grain: one row per (target of parts or of mixed parts, unit by first choice).
-- Reads: units_beside_steps or a part of it (slot beside), asked_modes.
-- Parameters: none; slots: beside, places (condition on the units' place). It becomes the temporary
--   table asked_beside_units, which is read twice.
-- Columns: target; entry; place (part, else ''); maybe (true: not known whether it could have failed).
select
  target,
  entry,
  place,
  maybe
from /*beside*/
where target in (select target from asked_modes) /*places*/

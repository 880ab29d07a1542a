-- Question: of how many units asked about does a record speak, and what does it say?
-- Grain: one row per (mode, what is said, maybe, covers, keys, technician).
-- Reads: marks_first, asked_listed_first (as attempted: marks_attempted, asked_listed_attempted),
--   asked_modes.
-- Parameters: none; slots: view, keys.
-- Columns: mode; seen, unclear, unchecked, excluded; maybe; covers; the keys; cluster (technician);
--   units.
select
  k.mode,
  k.seen,
  k.unclear,
  k.unchecked,
  k.excluded,
  u.maybe,
  u.covers,
  /*keys*/
  u.cluster,
  count(*) as units
from marks_/*view*/ as k
inner join asked_modes as m on m.mode = k.mode
inner join asked_listed_/*view*/ as u
  on u.target = k.target and u.entry = k.entry and u.place = k.place and u.number = k.number
group by all

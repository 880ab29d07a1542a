-- Question: which units asked about does a record speak of?
-- Grain: one row per (mode, unit) on jobs where a record speaks of the mode: few.
-- Reads: marks_first or marks_attempted (slot view), asked_modes, asked_listed.
-- Parameters: none; slots: view, keys.
-- Columns: mode; seen, unclear, unchecked, excluded; maybe; covers; the keys; cluster (technician).
select
  k.mode,
  k.seen,
  k.unclear,
  k.unchecked,
  k.excluded,
  u.maybe,
  u.covers,
  /*keys*/
  u.cluster
from marks_/*view*/ as k
inner join asked_modes as m on m.mode = k.mode
inner join asked_listed as u
  on u.target = k.target and u.entry = k.entry and u.place = k.place and u.number = k.number

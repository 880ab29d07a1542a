-- Question: which units asked about does a record speak of (view: attempted)?
-- Grain: one row per (mode, unit) on jobs where a record speaks of the mode: few.
-- Reads: marks_attempted, asked_modes, asked_units.
-- Parameters: none; slot: keys.
-- Columns: mode; seen, unclear, unchecked, excluded; maybe; covers; the keys; cluster.
create or replace temp view asked_marks as
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
from marks_attempted as k
inner join asked_modes as m on m.mode = k.mode
inner join asked_units as u
  on u.target = k.target and u.entry = k.entry and u.place = k.place and u.number = k.number

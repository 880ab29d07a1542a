-- Question: which first pieces are there on jobs and for modes that a record speaks of?
-- Grain: one row per (mode, first fitted piece of a part) where a record speaks of the mode: few.
-- Reads: flags, modes, target_places, first_pieces.
-- Parameters: none.
-- Columns: mode; target; entry, place, number (the unit); unchecked; excluded (false: what was
--   there at intake is no matter for a newly fitted piece).
create or replace temp view spoken_first as
select
  m.mode,
  m.target_first as target,
  p.entry,
  p.part as place,
  0 as number,
  f.unchecked,
  false as excluded
from flags as f
inner join modes as m on m.mode = f.mode
inner join target_places as t on t.target = m.target_first
inner join first_pieces as p on p.entry = f.entry and p.part = t.place
where m.kind = 'part'

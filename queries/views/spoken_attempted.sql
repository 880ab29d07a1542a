-- Question: which tries are there on jobs and for modes that a record speaks of?
-- Grain: one row per (mode, try that qualifies) where a record speaks of the mode: few.
-- Reads: flags, modes, targets, target_places, target_options, tries.
-- Parameters: none.
-- Columns: mode; target; entry, place, number (the unit); unchecked; excluded (there at intake, so
--   it could not arise: never for a newly fitted piece).
create or replace temp view spoken_attempted as
select
  m.mode,
  t.target,
  y.entry,
  y.place,
  y.number,
  f.unchecked,
  f.preexisting and m.kind <> 'part' as excluded
from flags as f
inner join modes as m on m.mode = f.mode
inner join targets as t on t.target = m.target_attempted
inner join target_places as p on p.target = t.target
inner join tries as y on y.entry = f.entry and y.kind = t.kind and y.place = p.place
left join target_options as o on o.target = t.target and o.option = y.option
where not t.limited or y.option is null or o.option is not null

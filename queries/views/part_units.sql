-- Question: where could each target of parts have failed, seen by the first choice?
-- Grain: one row per (target of parts, unit). A unit is the first fitted piece of a part on a job,
--   which stands for all pieces of that part.
-- Reads: targets, target_places, first_pieces.
-- Parameters: none.
-- Columns: target; entry; place (part); number (0); option (null); maybe (false).
create or replace temp view part_units as
select
  t.target,
  f.entry,
  f.part as place,
  0 as number,
  cast(null as varchar) as option,
  false as maybe
from targets as t
inner join target_places as p on p.target = t.target
inner join first_pieces as f on f.part = p.place
where t.kind = 'part' and not t.limited

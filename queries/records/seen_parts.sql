-- Question: which parts must have had a piece, given the failures seen?
-- Grain: one row a different cell of failures. Reads: sightings, modes, mode_parts, mode_mixed.
-- Columns: failures; parts (named by a mode of one part or by a mixed one); any_part (a mode that
--   any part can have was seen).
create or replace temp table seen_parts as
with
-- how many parts each mode of parts names: several means "any"
widths as (select mode, count(*) as parts from mode_parts group by mode),
-- one row a cell and part
named as (
  select s.failures, p.part
  from sightings as s join mode_parts as p on p.mode = s.mode
  join widths as w on w.mode = s.mode
  where w.parts = 1 or s.place = p.part
  union all
  select s.failures, m.part from sightings as s join mode_mixed as m on m.mode = s.mode
)
select
  s.failures,
  list(distinct n.part) filter (n.part is not null) as parts,
  bool_or(w.parts > 1) as any_part
from sightings as s
left join named as n on n.failures = s.failures
left join widths as w on w.mode = s.mode
group by s.failures

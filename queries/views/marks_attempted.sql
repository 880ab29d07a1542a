-- Question: what do the records say of single units (view: attempted)?
-- Grain: one row per (mode, unit) on jobs where a record speaks of the mode: few.
-- Reads: flags, modes, units_attempted, records.failures.
-- Parameters: none.
-- Columns: mode; target; entry, place, number (the unit); seen (this unit and no other matches a
--   failure record); unclear (a failure record matches this unit and others too); unchecked;
--   excluded (there at intake, so it could not arise).
create or replace temp view marks_attempted as
with
-- units of the jobs and modes that a record speaks of
spoken as (
  select
    m.mode,
    u.target,
    u.entry,
    u.place,
    u.number,
    f.unchecked,
    f.preexisting and m.kind <> 'part' as excluded
  from flags as f
  inner join modes as m on m.mode = f.mode
  inner join units_attempted as u on u.target = m.target_attempted and u.entry = f.entry
),
-- one row per (unit, failure record that matches it), with the number of units the record matches
matched as (
  select
    s.mode,
    s.entry,
    s.place,
    s.number,
    count(*) over (partition by s.mode, s.entry, r.place, r.number) as matches
  from spoken as s
  inner join records.failures as r
    on r.entry = s.entry
    and r.mode = s.mode
    and (r.place = '' or s.place = '' or r.place = s.place)
    and (r.number = 0 or s.number = 0 or r.number = s.number)
),
-- one row per unit that at least one failure record matches
hit as (
  select
    mode,
    entry,
    place,
    number,
    min(matches) = 1 as seen
  from matched
  group by mode, entry, place, number
)
select
  s.mode,
  s.target,
  s.entry,
  s.place,
  s.number,
  coalesce(h.seen, false) as seen,
  coalesce(not h.seen, false) as unclear,
  s.unchecked,
  s.excluded
from spoken as s
left join hit as h
  on h.mode = s.mode and h.entry = s.entry and h.place = s.place and h.number = s.number

-- Question: which parts in one device could have conflicted, pair by pair, and did they?
-- Grain: one row per (mode of mixed parts, job, pair of named parts whose grades differ in origin or
--   are not known); jobs on which the conflict was there at intake are left out. Rows overlap: a job
--   with three parts has up to three pairs, and a conflict seen counts for each that differs.
-- Reads: device_grades, jobs, flags, records.covers.
-- Parameters: none.
-- Columns: mode; entry; part_a (stands first in the catalogue), grade_a, part_b, grade_b (grade
--   null: not known); doubt (1: a grade is not known, or nobody looked for the conflict; else 0);
--   seen (1: the conflict was seen on the job; else 0).
create or replace temp view mixed_pairs as
with
-- one row per (mode, job, pair of named parts) whose grades differ in origin or are not known
paired as (
  select
    a.mode,
    a.entry,
    a.part as part_a,
    a.grade as grade_a,
    b.part as part_b,
    b.grade as grade_b,
    a.origin is null or b.origin is null as maybe
  from device_grades as a
  inner join device_grades as b
    on b.mode = a.mode and b.entry = a.entry and b.position > a.position
  where a.origin is null or b.origin is null or a.origin <> b.origin
)
select
  p.mode,
  p.entry,
  p.part_a,
  p.grade_a,
  p.part_b,
  p.grade_b,
  case when p.maybe or c.mode is null or coalesce(f.unchecked, false) then 1 else 0 end as doubt,
  case when coalesce(f.seen, false) then 1 else 0 end as seen
from paired as p
inner join jobs as j on j.entry = p.entry
left join records.covers as c on c.covers = j.covers and c.mode = p.mode
left join flags as f on f.entry = p.entry and f.mode = p.mode
where not coalesce(f.preexisting, false)

-- Question: of which grade is each part in the device, for modes of mixed parts?
-- Grain: one row per (mode of mixed parts, job in scope, named part).
-- Reads: mode_mixed, first_grades, grades, records.factors, shop_settings.
-- Parameters: none.
-- Columns: mode; entry; part; position (of the part in the catalogue); grade (null: not known);
--   origin (null: not known). In scope: jobs on which at least one named part has a piece.
--   The first piece counts, be it fitted or seen in the device; for a part without any, the grade
--   that the catalogue gives to parts nobody recorded, where the device had no repair before.
create or replace temp view device_grades as
with
-- one row per (mode, job in scope)
scope as (
  select distinct
    m.mode,
    p.entry
  from mode_mixed as m
  inner join first_grades as p on p.part = m.part
),
-- one row per job whose device had no repair before
untouched as (
  select entry
  from records.factors
  where factor = 'prior_repair' and value = 'no'
),
-- one row per (mode, job in scope, named part)
graded as (
  select
    s.mode,
    s.entry,
    m.part,
    m.position,
    case
      when p.entry is not null then p.grade
      when u.entry is not null then d.unrecorded_grade
    end as grade
  from scope as s
  inner join mode_mixed as m on m.mode = s.mode
  left join first_grades as p on p.entry = s.entry and p.part = m.part
  left join untouched as u on u.entry = s.entry
  cross join shop_settings as d
)
select
  g.mode,
  g.entry,
  g.part,
  g.position,
  g.grade,
  o.origin
from graded as g
left join grades as o on o.grade = g.grade

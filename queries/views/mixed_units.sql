-- Question: on which jobs could parts of different grades have conflicted?
-- Grain: one row per (target of mixed parts, job where grades differ or one is not known).
-- Reads: targets, target_places, first_grades, grades, records.factors, shop_settings.
-- Parameters: none.
-- Columns: target; entry; place (''), number (0), option (null): the unit is the job; maybe (true: a
--   grade is not known and the known ones do not differ).
--   Scope and grades are those of device_grades, counted here without listing the parts that have
--   no piece: three times faster.
create or replace temp view mixed_units as
with
-- one row per (target of mixed parts, named part)
named as (
  select
    t.target,
    p.place as part
  from targets as t
  inner join target_places as p on p.target = t.target
  where t.kind = 'mixed' and not t.limited
),
-- one row per target: how many parts it names
sizes as (
  select
    target,
    count(*) as parts
  from named
  group by target
),
-- one row per grade: its origin as a number, which compares three times faster than a word
origins as (
  select
    grade,
    dense_rank() over (order by origin) as origin
  from grades
),
-- one row per (target, job in scope): named parts with a piece, how many of their origins are
-- known, and two of these, the same one if they do not differ (counting distinct origins takes
-- twice as long)
present as (
  select
    n.target,
    p.entry,
    count(*) as pieces,
    count(o.origin) as known,
    min(o.origin) as one_origin,
    max(o.origin) as other_origin
  from named as n
  inner join first_grades as p on p.part = n.part
  left join origins as o on o.grade = p.grade
  group by n.target, p.entry
),
-- one row per job whose device had no repair before, with the origin of a part nobody recorded
untouched as (
  select
    f.entry,
    o.origin
  from records.factors as f
  cross join shop_settings as d
  inner join origins as o on o.grade = d.unrecorded_grade
  where f.factor = 'prior_repair' and f.value = 'no'
),
-- the same as "present", with the named parts that have no piece
mixing as (
  select
    p.target,
    p.entry,
    p.known = s.parts or (p.pieces = p.known and u.origin is not null) as all_known,
    least(p.one_origin, case when p.pieces < s.parts then u.origin end) as one_origin,
    greatest(p.other_origin, case when p.pieces < s.parts then u.origin end) as other_origin
  from present as p
  inner join sizes as s on s.target = p.target
  left join untouched as u on u.entry = p.entry
)
select
  target,
  entry,
  '' as place,
  0 as number,
  cast(null as varchar) as option,
  one_origin is null or one_origin = other_origin as maybe
from mixing
where one_origin <> other_origin or not all_known

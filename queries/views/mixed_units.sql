-- Question: on which jobs could parts of different grades have conflicted?
-- Grain: one row per (target of mixed parts, job where grades differ or one is not known).
-- Reads: modes, device_grades.
-- Parameters: none.
-- Columns: target; entry; maybe (true: a grade is not known and the known ones do not differ).
create or replace temp view mixed_units as
with
-- one row per (target, job in scope): how many grades are known, and two of their
-- origins, the same one if they do not differ (counting distinct origins takes twice as long)
mixing as (
  select
    m.target,
    g.entry,
    count(*) as named,
    count(g.origin) as known,
    min(g.origin) as one_origin,
    max(g.origin) as other_origin
  from device_grades as g
  inner join (
    select
      target_first as target,
      min(mode) as mode
    from modes
    where kind = 'mixed'
    group by target_first
  ) as m on m.mode = g.mode
  group by m.target, g.entry
)
select
  target,
  entry,
  one_origin is null or one_origin = other_origin as maybe
from mixing
where one_origin <> other_origin or known < named

-- Question: on which jobs could parts of different grades have conflicted?
-- Grain: one row per (target of mixed parts, job where grades differ or one is not known).
-- Reads: modes, device_grades.
-- Parameters: none.
-- Columns: target; entry; maybe (true: a grade is not known and the known ones do not differ).
create or replace temp view mixed_units as
with
-- one row per (target, job in scope): how many grades are known, how many origins
mixing as (
  select
    m.target,
    g.entry,
    count(*) as named,
    count(g.origin) as known,
    count(distinct g.origin) as origins
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
  origins < 2 as maybe
from mixing
where origins >= 2 or known < named

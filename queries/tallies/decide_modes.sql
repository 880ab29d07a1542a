-- Question: what do the records say of the modes that can follow from this choice?
-- Grain: one row per (mode, job with the choice) of which a record speaks: few.
-- Reads: decide_chosen, decide_marks_first, modes, asked_codes (the modes), decide_mixed_units,
--   records.covers.
-- Parameters: days (of the warranty); slot: place ('' for a step, else the code of the part: of a
--   mode that several parts can have only what is said of this one). A table.
-- Columns: entry; mode; failed (seen, and a clean observation); unlooked (not looked for, unclear, or
--   there at intake).
-- A mode that was noted and then brought the device back within the warranty is a come-back, and is
-- counted there: not twice.
create or replace temp table decide_modes as
with
-- what is said of the choice's own unit, or of the job
said as (
  select
    c.entry,
    k.mode,
    k.seen,
    k.unclear or k.unchecked or k.excluded as doubtful,
    v.mode is null as uncovered,
    m.kind = 'mixed' as mixed,
    m.target_first as target,
    coalesce(c.return_reason = k.mode and date_diff('day', c.finished, c.returned) <= $days, false)
      as came_back
  from decide_chosen as c
  inner join decide_marks_first as k on k.entry = c.entry
  inner join asked_codes as a on a.mode = k.mode
  inner join modes as m on m.mode = k.mode
  left join records.covers as v on v.covers = c.covers and v.mode = k.mode
  where k.place = '' or k.place = /*place*/
)
select
  s.entry,
  s.mode,
  s.seen and not s.doubtful and not s.uncovered and not coalesce(u.maybe, s.mixed)
    and not s.came_back as failed,
  s.doubtful and not s.uncovered as unlooked
from said as s
left join decide_mixed_units as u on s.mixed and u.target = s.target and u.entry = s.entry

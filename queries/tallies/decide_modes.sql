-- Question: what do the records say of the modes that can follow from this choice?
-- Grain: one row per (mode, job with the choice) of which a record speaks: few.
-- Reads: decide_chosen, decide_marks_first, modes, asked_codes (the modes), decide_mixed_units,
--   records.covers, records.failures.
-- Parameters: days (of the warranty), as_of (a return after that day is not known yet); slot: place
--   (code of the step or part: of a mode that several can have, only what is said of this one). A
--   table.
-- Columns: entry; mode; failed (seen, and a clean observation); unlooked (not looked for, unclear, or
--   there at intake).
-- A failure whose record names another step happened there, and costs there; without a step named it
-- may have happened here. A mode that was noted and then brought the device back within the warranty is a come-back, and is
-- counted there: not twice.
create or replace temp table decide_modes as
with
-- failures that may have happened here
here as (
  select distinct
    entry,
    mode
  from records.failures
  where place = '' or place = /*place*/
),
-- what is said of the choice's own unit, or of the job
said as (
  select
    c.entry,
    k.mode,
    k.seen and h.entry is not null as seen,
    k.unclear or k.unchecked or k.excluded as doubtful,
    v.mode is null as uncovered,
    m.kind = 'mixed' as mixed,
    m.target_first as target,
    coalesce(c.return_reason = k.mode and date_diff('day', c.finished, c.returned) <= $days
      and c.returned <= $as_of, false) as came_back
  from decide_chosen as c
  inner join decide_marks_first as k on k.entry = c.entry
  inner join asked_codes as a on a.mode = k.mode
  inner join modes as m on m.mode = k.mode
  left join records.covers as v on v.covers = c.covers and v.mode = k.mode
  left join here as h on h.entry = k.entry and h.mode = k.mode
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

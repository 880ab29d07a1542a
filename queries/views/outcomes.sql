-- Question: what is known of every opportunity? For digging; rates use the tallies.
-- Grain: one row per (mode, unit).
-- Reads: modes, units_first, marks_first, jobs, records.covers.
-- Parameters: none; the slot view makes outcomes_first, and outcomes_attempted of units_attempted
--   and marks_attempted.
-- Columns: entry; mode; family; place (step or part where the unit has one, else ''); number
--   (attempt or piece, 0 by first choice); option (its method or grade, null by first choice);
--   model; technician; state: 'failed', 'fine', 'unknown' or 'unknown_failed' (seen, but not a
--   clean observation).
create or replace temp view outcomes_/*view*/ as
with
-- every unit with what the records say of it
judged as (
  select
    u.entry,
    m.mode,
    m.family,
    u.place,
    u.number,
    u.option,
    j.model,
    j.technician,
    u.maybe or c.mode is null or coalesce(k.unchecked or k.unclear, false) as doubt,
    coalesce(k.seen or k.unclear, false) as seen,
    coalesce(k.excluded, false) as excluded
  from modes as m
  inner join units_/*view*/ as u on u.target = m.target_/*view*/
  inner join jobs as j on j.entry = u.entry
  left join records.covers as c on c.covers = j.covers and c.mode = m.mode
  left join marks_/*view*/ as k
    on k.mode = m.mode and k.entry = u.entry and k.place = u.place and k.number = u.number
)
select
  entry,
  mode,
  family,
  place,
  number,
  option,
  model,
  technician,
  case
    when doubt and seen then 'unknown_failed'
    when doubt then 'unknown'
    when seen then 'failed'
    else 'fine'
  end as state
from judged
where not excluded

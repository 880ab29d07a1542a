-- Question: what is known of every opportunity? For digging; rates use the tallies.
-- Grain: one row per (view, mode, unit).
-- Reads: modes, units_first, units_attempted, marks, jobs, records.covers.
-- Parameters: none.
-- Columns: view ('first' or 'attempted'); entry; mode; family; place (step or part where the unit
--   has one, else ''); number (attempt or piece, 0 by first choice); option (its method or grade,
--   null by first choice); model; technician; state: 'failed', 'fine', 'unknown' or
--   'unknown_failed' (seen, but not a clean observation).
create or replace temp view outcomes as
with
-- the units of both views, with their mode
units as (
  select
    'first' as view,
    m.mode,
    m.family,
    u.entry,
    u.place,
    u.number,
    cast(null as varchar) as option,
    u.maybe
  from modes as m
  inner join units_first as u on u.target = m.target_first
  union all
  select
    'attempted' as view,
    m.mode,
    m.family,
    u.entry,
    u.place,
    u.number,
    u.option,
    u.maybe
  from modes as m
  inner join units_attempted as u on u.target = m.target_attempted
),
-- every unit with what the records say of it
judged as (
  select
    u.view,
    u.entry,
    u.mode,
    u.family,
    u.place,
    u.number,
    u.option,
    j.model,
    j.technician,
    u.maybe or c.mode is null or coalesce(k.unchecked or k.unclear, false) as doubt,
    coalesce(k.seen or k.unclear, false) as seen,
    coalesce(k.excluded, false) as excluded
  from units as u
  inner join jobs as j on j.entry = u.entry
  left join records.covers as c on c.covers = j.covers and c.mode = u.mode
  left join marks as k
    on k.view = u.view
    and k.mode = u.mode
    and k.entry = u.entry
    and k.place = u.place
    and k.number = u.number
)
select
  view,
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

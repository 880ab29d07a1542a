-- Question: what could have gone wrong on the jobs that stand in for all others, and was it looked
--   for?
-- Grain: one row per (stand-in, mode, unit by first choice): few.
-- Reads: watched_asked, watched_jobs, watched_subjects, step_targets, units_beside_steps, asked_modes,
--   records.covers.
-- Parameters: none. It becomes the temporary table watched_units.
-- Columns: stand_in; covers; subject (number of the mode); mode; kind (steps, part or mixed); target;
--   place (part, else ''); maybe (true: not known whether it could have failed); looked (true:
--   the bench looked for the mode).
create or replace temp table watched_units as
with
-- one row per stand-in
stand_ins as (
  select
    entry,
    standing,
    covers
  from watched_asked
  where entry in (select stand_in from watched_jobs)
),
-- one row per unit of a stand-in
units as (
  select
    s.entry,
    s.covers,
    t.target,
    '' as place,
    false as maybe
  from stand_ins as s
  inner join step_targets as t on t.plan = s.standing
  union all
  select
    s.entry,
    s.covers,
    u.target,
    u.place,
    u.maybe
  from stand_ins as s
  inner join units_beside_steps as u on u.entry = s.entry
),
-- the same for each mode asked for
of_modes as (
  select
    u.entry as stand_in,
    u.covers,
    s.subject,
    m.mode,
    m.kind,
    u.target,
    u.place,
    u.maybe,
    c.mode is not null as looked
  from units as u
  inner join asked_modes as m on m.target = u.target
  inner join watched_subjects as s on s.mode = m.mode
  left join records.covers as c on c.covers = u.covers and c.mode = m.mode
)
select * from of_modes

-- Question: what do the records say of single units?
-- Grain: one row per (mode, unit) on jobs where a record speaks of the mode: few.
-- Reads: flags, modes, spoken_first, records.failures.
-- Parameters: none; the slot view makes marks_first, and marks_attempted of spoken_attempted.
-- Columns: mode; target; entry, place, number (the unit); seen (a failure record matches this unit
--   and no other); unclear (a failure record matches this unit and others too); unchecked; excluded
--   (there at intake, so it could not arise).
create or replace temp view marks_/*view*/ as
with
-- where the unit is the job, the job's flags are the unit's
of_jobs as (
  select
    f.mode,
    m.target_/*view*/ as target,
    f.entry,
    '' as place,
    0 as number,
    f.seen,
    false as unclear,
    f.unchecked,
    f.preexisting as excluded
  from flags as f
  inner join modes as m on m.mode = f.mode
  where m.unit_/*view*/ = 'job'
),
-- one row per (unit, failure record that matches it, or none), with the number of units that the
-- record matches
matched as (
  select
    s.mode,
    s.target,
    s.entry,
    s.place,
    s.number,
    s.unchecked,
    s.excluded,
    case
      when r.mode is not null then
        count(*) over (partition by s.mode, s.entry, r.place, r.number)
    end as matches
  from spoken_/*view*/ as s
  left join records.failures as r
    on r.entry = s.entry
    and r.mode = s.mode
    and (r.place = '' or r.place = s.place)
    and (r.number = 0 or s.number = 0 or r.number = s.number)
),
-- pieces and tries with what the records say of them
of_others as (
  select
    mode,
    target,
    entry,
    place,
    number,
    coalesce(min(matches) = 1, false) as seen,
    coalesce(min(matches) > 1, false) as unclear,
    unchecked,
    excluded
  from matched
  group by mode, target, entry, place, number, unchecked, excluded
)
select * from of_jobs
union all
select * from of_others

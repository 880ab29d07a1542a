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
-- one row per (unit, failure record that matches it), with the number of units the record matches
matched as (
  select
    s.mode,
    s.entry,
    s.place,
    s.number,
    count(*) over (partition by s.mode, s.entry, r.place, r.number) as matches
  from spoken_/*view*/ as s
  inner join records.failures as r
    on r.entry = s.entry
    and r.mode = s.mode
    and (r.place = '' or r.place = s.place)
    and (r.number = 0 or s.number = 0 or r.number = s.number)
),
-- one row per unit that at least one failure record matches
hit as (
  select
    mode,
    entry,
    place,
    number,
    min(matches) = 1 as seen
  from matched
  group by mode, entry, place, number
),
-- pieces and tries with what the records say of them
of_others as (
  select
    s.mode,
    s.target,
    s.entry,
    s.place,
    s.number,
    coalesce(h.seen, false) as seen,
    coalesce(not h.seen, false) as unclear,
    s.unchecked,
    s.excluded
  from spoken_/*view*/ as s
  left join hit as h
    on h.mode = s.mode
    and h.entry = s.entry
    and h.place = s.place
    and h.number = s.number
)
select * from of_jobs
union all
select * from of_others

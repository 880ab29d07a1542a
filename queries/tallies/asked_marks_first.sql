-- Question: which units asked about does a record speak of (view: first)?
-- Grain: one row per (mode, unit) on jobs where a record speaks of the mode: few.
-- Reads: marks_first, asked_jobs, asked_modes, step_targets, asked_units.
-- Parameters: none; slot: keys.
-- Columns: mode; seen, unclear, unchecked, excluded; maybe; covers; the keys; cluster.
create or replace temp view asked_marks as
with
-- marks of the modes asked for
asked as (
  select
    k.*,
    m.kind
  from marks_first as k
  inner join asked_modes as m on m.mode = k.mode
),
-- at steps the unit is the job: no need to look through all units
at_steps as (
  select
    k.mode,
    k.seen,
    k.unclear,
    k.unchecked,
    k.excluded,
    false as maybe,
    j.covers,
    /*keys*/
    j.cluster
  from asked as k
  inner join asked_jobs as j on j.entry = k.entry
  inner join step_targets as t on t.target = k.target and t.plan = j.plan
  where k.kind = 'steps'
),
-- pieces and jobs with mixed parts
others as (
  select
    k.mode,
    k.seen,
    k.unclear,
    k.unchecked,
    k.excluded,
    u.maybe,
    u.covers,
    /*keys*/
    u.cluster
  from asked as k
  inner join asked_units as u
    on u.target = k.target and u.entry = k.entry and u.place = k.place
  where k.kind <> 'steps'
)
select * from at_steps
union all
select * from others

-- Question: on how many jobs did any of the modes asked for go wrong, out of how many jobs where
--   every mode that applied was looked for?
-- Grain: one row per (keys, technician).
-- Reads: asked_modes, asked_jobs, step_targets, asked_spoken, asked_beside_units, asked_beside
--   (temporary tables made by the statements union_*), flags or marks_first (slot marks),
--   records.covers.
-- Parameters: none; slots: keys (quoted names of columns of asked_jobs), marks, unit, unclear,
--   excluded. Of the whole job its flags tell all; of one place only what is said of its own units,
--   and a sighting that fits other places too leaves it unknown.
-- Columns: the keys; cluster (technician); failures, opportunities, unknown, unknown_failed (jobs).
-- Jobs of which no record speaks are most: they are counted by plan (one stands for all that meet
-- the same targets, see asked_plans) and covers. Only the few others are gone through one by one.
with
-- jobs of which no record speaks and to which any mode applied; doubt is that of their parts
quiet as (
  select
    j.standing,
    j.covers,
    coalesce(b.doubt, 0) as doubt,
    /*keys*/
    j.cluster,
    count(*) as jobs
  from asked_jobs as j
  left join asked_beside as b on b.entry = j.entry
  left join asked_spoken as s on s.entry = j.entry
  where s.entry is null and (j.standing is not null or b.entry is not null)
  group by all
),
-- one row per (standing plan, covers) where a mode that applied at the steps was not looked for
unlooked as (
  select distinct
    q.standing,
    q.covers
  from (select distinct standing, covers from quiet) as q
  inner join step_targets as t on t.plan = q.standing
  inner join asked_modes as m on m.target = t.target
  left join records.covers as c on c.covers = q.covers and c.mode = m.mode
  where c.mode is null
),
-- the same jobs with the doubt of their steps; nothing was seen on them
still as (
  select
    /*keys*/
    q.cluster,
    case when u.standing is null then q.doubt else 1 end as doubt,
    0 as seen,
    q.jobs
  from quiet as q
  left join unlooked as u on u.standing = q.standing and u.covers = q.covers
),
-- units of the other jobs
spoken as (
  select
    t.target,
    j.entry,
    '' as place,
    false as maybe
  from asked_spoken as s
  inner join asked_jobs as j on j.entry = s.entry
  inner join step_targets as t on t.plan = j.standing
  union all
  select
    u.target,
    u.entry,
    u.place,
    u.maybe
  from asked_beside_units as u
  inner join asked_spoken as s on s.entry = u.entry
),
-- one row per other job to which any of the modes applied; units of a part fold into their job
applied as (
  select
    u.entry,
    max(
      case
        when u.maybe or c.mode is null or coalesce(f.unchecked or /*unclear*/, false) then 1
        else 0
      end
    ) as doubt,
    max(case when coalesce(f.seen or /*unclear*/, false) then 1 else 0 end) as seen
  from asked_modes as m
  inner join spoken as u on u.target = m.target
  inner join asked_jobs as j on j.entry = u.entry
  left join records.covers as c on c.covers = j.covers and c.mode = m.mode
  left join /*marks*/ as f on f.entry = u.entry and f.mode = m.mode /*unit*/
  where m.kind = 'part' or not coalesce(f./*excluded*/, false)
  group by u.entry
),
-- both
judged as (
  select * from still
  union all
  select
    /*keys*/
    j.cluster,
    a.doubt,
    a.seen,
    1 as jobs
  from applied as a
  inner join asked_jobs as j on j.entry = a.entry
),
-- one row per (keys, technician)
by_cluster as (
  select
    /*keys*/
    cluster,
    sum(case when doubt = 0 then seen * jobs else 0 end) as failures,
    sum((1 - doubt) * jobs) as opportunities,
    sum(doubt * jobs) as unknown,
    sum(doubt * seen * jobs) as unknown_failed
  from judged
  group by all
)
select * from by_cluster

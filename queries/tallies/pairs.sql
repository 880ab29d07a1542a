-- Question: how often did parts of two grades conflict, out of how many jobs with that pair?
-- Grain: one row per (mode, keys, pair of parts with their grades, technician); rows overlap, since a job with three
--   parts has up to three pairs and a conflict seen counts for each that differs.
-- Reads: asked_modes, device_grades, asked_jobs, flags, records.covers.
-- Parameters: none; the slot keys takes quoted names of columns of asked_jobs.
-- Columns: mode; the keys; part_a, grade_a, part_b, grade_b (grade null: not known); cluster
--   (technician); failures, opportunities, unknown, unknown_failed (pairs).
with
-- one row per (mode, job, pair of named parts) whose grades differ in origin or are not known
paired as (
  select
    a.mode,
    a.entry,
    a.part as part_a,
    a.grade as grade_a,
    b.part as part_b,
    b.grade as grade_b,
    a.origin is null or b.origin is null as maybe
  from device_grades as a
  inner join device_grades as b
    on b.mode = a.mode and b.entry = a.entry and b.position > a.position
  where a.origin is null or b.origin is null or a.origin <> b.origin
),
-- the same with what the records say, damage at intake left out
judged as (
  select
    p.mode,
    /*keys*/
    p.part_a,
    p.grade_a,
    p.part_b,
    p.grade_b,
    j.cluster,
    case when p.maybe or c.mode is null or coalesce(f.unchecked, false) then 1 else 0 end as doubt,
    case when coalesce(f.seen, false) then 1 else 0 end as seen
  from paired as p
  inner join asked_modes as m on m.mode = p.mode
  inner join asked_jobs as j on j.entry = p.entry
  left join records.covers as c on c.covers = j.covers and c.mode = p.mode
  left join flags as f on f.entry = p.entry and f.mode = p.mode
  where not coalesce(f.preexisting, false)
),
-- one row per (mode, keys, pair, technician)
by_cluster as (
  select
    mode,
    /*keys*/
    part_a,
    grade_a,
    part_b,
    grade_b,
    cluster,
    sum(case when doubt = 0 then seen else 0 end) as failures,
    sum(1 - doubt) as opportunities,
    sum(doubt) as unknown,
    sum(doubt * seen) as unknown_failed
  from judged
  group by all
)
select * from by_cluster

-- Question: on which jobs could a mode asked for have shown at a part or at mixed parts, and was
--   every such mode looked for?
-- Grain: one row per job asked about with a unit of parts or of mixed parts.
-- Reads: asked_beside_units (made by the statement union_units), asked_jobs, asked_modes,
--   records.covers.
-- Parameters: none. It becomes the temporary table asked_beside.
-- Columns: entry; doubt (1: a mode was not looked for, or may not have applied; else 0), as if no
--   record spoke of any mode on the job.
with
-- one row per target: how many modes asked for it has
sizes as (
  select
    target,
    count(*) as modes
  from asked_modes
  group by target
),
-- one row per (covers, target): how many of these were looked for
looked as (
  select
    c.covers,
    m.target,
    count(*) as modes
  from asked_modes as m
  inner join records.covers as c on c.mode = m.mode
  group by c.covers, m.target
),
-- one row per job
by_job as (
  select
    u.entry,
    max(case when u.maybe or l.modes is null or l.modes < s.modes then 1 else 0 end) as doubt
  from asked_beside_units as u
  inner join sizes as s on s.target = u.target
  inner join asked_jobs as j on j.entry = u.entry
  left join looked as l on l.covers = j.covers and l.target = u.target
  group by u.entry
)
select * from by_job

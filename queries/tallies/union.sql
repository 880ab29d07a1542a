-- Question: on how many jobs did any of the modes asked for go wrong, out of how many jobs where
--   every mode that applied was looked for?
-- Grain: one row per (keys, technician).
-- Reads: asked_modes, asked_units, asked_jobs, flags or marks_first (slot marks), records.covers.
-- Parameters: none; slots: keys (quoted names of columns of asked_units), marks, unit, unclear,
--   excluded. Of the whole job its flags tell all; of one place only what is said of its own units,
--   and a sighting that fits other places too leaves it unknown.
-- Columns: the keys; cluster (technician); failures, opportunities, unknown, unknown_failed (jobs).
with
-- one row per job on which any of the modes applied; units of a part fold into their job
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
  inner join asked_units as u on u.target = m.target
  left join records.covers as c on c.covers = u.covers and c.mode = m.mode
  left join /*marks*/ as f on f.entry = u.entry and f.mode = m.mode /*unit*/
  where m.kind = 'part' or not coalesce(f./*excluded*/, false)
  group by u.entry
),
-- the same with the job's keys
keyed as (
  select
    /*keys*/
    j.cluster,
    a.doubt,
    a.seen
  from applied as a
  inner join asked_jobs as j on j.entry = a.entry
),
-- one row per (keys, technician)
by_cluster as (
  select
    /*keys*/
    cluster,
    sum(case when doubt = 0 then seen else 0 end) as failures,
    sum(1 - doubt) as opportunities,
    sum(doubt) as unknown,
    sum(doubt * seen) as unknown_failed
  from keyed
  group by all
)
select * from by_cluster

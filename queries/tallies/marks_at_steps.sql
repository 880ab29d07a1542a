-- Question: on how many jobs does a record speak of a mode at steps asked for, and what does it say?
-- Grain: one row per (mode at steps, what is said, covers, keys, technician).
-- Reads: mentions, asked_jobs, asked_modes, step_targets.
-- Parameters: none; slot: keys.
-- Columns: mode; seen, unclear (false), unchecked, excluded; maybe (false); covers; the keys;
--   cluster (technician); units (jobs).
with
-- one row per (mode asked for, job) that a record speaks of; only then is it grouped
flagged as (
  select
    n.entry,
    m.number,
    max(n.seen) = 1 as seen,
    max(n.unchecked) = 1 as unchecked,
    max(n.preexisting) = 1 as excluded
  from mentions as n
  inner join asked_modes as m on m.mode = n.mode
  where m.kind = 'steps'
  group by n.entry, m.number
),
-- the same counted, for jobs that were units of the mode
counted as (
  select
    m.mode,
    f.seen,
    false as unclear,
    f.unchecked,
    f.excluded,
    false as maybe,
    j.covers,
    /*keys*/
    j.cluster,
    count(*) as units
  from flagged as f
  inner join asked_modes as m on m.number = f.number
  inner join asked_jobs as j on j.entry = f.entry
  inner join step_targets as t on t.target = m.target and t.plan = j.standing
  group by all
)
select * from counted

-- Question: on which jobs does a record speak of a mode at steps asked for?
-- Grain: one row per (mode at steps, job that was a unit of it): few.
-- Reads: flags, asked_jobs, asked_modes, step_targets.
-- Parameters: none; slot: keys.
-- Columns: mode; seen, unclear (false), unchecked, excluded; maybe (false); covers; the keys;
--   cluster (technician).
select
  f.mode,
  f.seen,
  false as unclear,
  f.unchecked,
  f.preexisting as excluded,
  false as maybe,
  j.covers,
  /*keys*/
  j.cluster
from flags as f
inner join asked_modes as m on m.mode = f.mode
inner join asked_jobs as j on j.entry = f.entry
inner join step_targets as t on t.target = m.target and t.plan = j.plan

-- Question: how many jobs were units of each target at steps, whatever the records say of them?
-- Grain: one row per (target, covers, keys, technician).
-- Reads: asked_jobs, asked_modes, step_targets.
-- Parameters: none; slot: keys.
-- Columns: target; covers; maybe (false); the keys; cluster (technician); units (jobs).
-- Many plans meet the same targets; grouping by the one that stands for all of them leaves few
-- groups, and is three times faster than grouping by plan.
with
-- jobs counted by the plan that stands for theirs
counted as (
  select
    standing,
    covers,
    /*keys*/
    cluster,
    count(*) as jobs
  from asked_jobs
  where standing is not null
  group by all
),
-- the same by target
at_steps as (
  select
    t.target,
    c.covers,
    false as maybe,
    /*keys*/
    c.cluster,
    sum(c.jobs) as units
  from counted as c
  inner join step_targets as t on t.plan = c.standing
  where t.target in (select target from asked_modes)
  group by all
)
select * from at_steps

-- Question: how many jobs were units of each target at steps, whatever the records say of them?
-- Grain: one row per (target, covers, keys, technician, plan).
-- Reads: asked_jobs, asked_modes, step_targets.
-- Parameters: none; slot: keys.
-- Columns: target; covers; maybe (false); the keys; cluster (technician); units (jobs).
with
-- jobs counted by plan: there are few plans and many jobs
by_plan as (
  select
    plan,
    covers,
    /*keys*/
    cluster,
    count(*) as jobs
  from asked_jobs
  group by all
),
-- the same by target
at_steps as (
  select
    t.target,
    p.covers,
    false as maybe,
    /*keys*/
    p.cluster,
    p.jobs as units
  from by_plan as p
  inner join step_targets as t on t.plan = p.plan
  where t.target in (select target from asked_modes)
)
select * from at_steps

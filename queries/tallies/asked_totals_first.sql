-- Question: how many units has each target, whatever the records say of them (view: first)?
-- Grain: one row per (target, covers, maybe, keys, technician).
-- Reads: asked_jobs, asked_modes, step_targets, asked_units.
-- Parameters: none; slot: keys.
-- Columns: target; covers; maybe; the keys; cluster (technician); units.
create or replace temp view asked_totals as
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
-- the same by target at steps
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
),
-- pieces and jobs with mixed parts, one by one
others as (
  select
    target,
    covers,
    maybe,
    /*keys*/
    cluster,
    count(*) as units
  from asked_units
  where target in (select target from asked_modes where kind <> 'steps')
  group by all
)
select * from at_steps
union all
select * from others

-- Question: with which methods were the steps asked about first tried in each plan (set of first
--   choices), and which plans come to the same for the modes asked for?
-- Grain: one row per plan.
-- Reads: first_choices, step_targets, asked_modes.
-- Parameters: none; slots: keys (steps as columns named as keys), joins (one per step). A table:
--   plans are few, and jobs are joined to it once, whatever is asked of their steps.
-- Columns: plan; the keys; standing (the plan that stands for all that meet the same targets at
--   steps asked for; null: it meets none).
create or replace temp table asked_plans as
with
-- one row per plan
plans as (
  select distinct plan
  from first_choices
),
-- the targets asked for that each plan meets, as one text
met as (
  select
    plan,
    string_agg(cast(target as varchar), ',') as targets
  from step_targets
  where target in (select target from asked_modes)
  group by plan
),
-- one row per plan that meets any
alike as (
  select
    plan,
    min(plan) over (partition by targets) as standing
  from met
),
-- all plans with their keys
keyed as (
  select
    j.plan,
    /*keys*/
    a.standing
  from plans as j
  left join alike as a on a.plan = j.plan
  /*joins*/
)
select * from keyed

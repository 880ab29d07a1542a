-- Question: where could each target have failed, seen by the first choice?
-- Grain: one row per (target, unit). A unit is a job (modes at steps, of mixed parts) or the first
--   fitted piece of a part on a job, which stands for all pieces of that part.
-- Reads: jobs, step_targets, units_beside_steps.
-- Parameters: none.
-- Columns: target; entry; place (part, else ''); number (0); option (null); maybe (true: not
--   known whether it could have failed).
create or replace temp view units_first as
with
-- targets at steps: the job, if any of the steps was done
at_steps as (
  select
    t.target,
    j.entry,
    '' as place,
    0 as number,
    cast(null as varchar) as option,
    false as maybe
  from jobs as j
  inner join step_targets as t on t.plan = j.plan
)
select * from at_steps
union all
select * from units_beside_steps

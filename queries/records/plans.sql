-- Does: stores the steps of plans (sets of first choices) that are met for the first time.
-- Reads: records.jobs. Writes: records.plans. Parameter: batch.
insert into records.plans (plan, step, method)
with
-- one row a plan that is new
fresh as (
  select distinct plan from records.jobs where batch = $batch
  except
  select plan from records.plans
),
-- one row a plan and step
split as (
  select plan, unnest(string_split(rtrim(plan, ';'), ';')) as choice from fresh where plan <> ''
)
select plan, split_part(choice, '=', 1), nullif(split_part(choice, '=', 2), '')
from split

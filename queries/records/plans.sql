-- Does: stores the steps of plans (sets of first choices) that are met for the first time.
-- Reads: records.jobs, records.attempts, methods. Writes: records.plans.
-- Parameters: batch, base (entries of this import are above it).
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
  select plan, unnest(string_split(plan, ';')) as choice from fresh where plan <> ''
),
-- one row a method in use, those included that have left the catalogue since
known as (
  select method, step from methods
  union
  select distinct method, step from records.attempts
  where entry > $base and method is not null and method not in (select method from methods)
)
select s.plan, coalesce(k.step, rtrim(s.choice, '?')), k.method
from split as s
left join known as k on k.method = s.choice

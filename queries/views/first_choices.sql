-- Question: with which method was each step tried first, in each plan (set of first choices)?
-- Grain: one row per (plan, step that was done).
-- Reads: records.plans.
-- Parameters: none.
-- Columns: plan (key to jobs); step; method (null: not recorded).
create or replace temp view first_choices as
select
  plan,
  step,
  method
from records.plans

-- Question: with which method was each step of a job tried first?
-- Grain: one row per (job, step that was done).
-- Reads: jobs, first_choices.
-- Parameters: none.
-- Columns: entry; step; method (null: not recorded).
create or replace temp view first_methods as
select
  j.entry,
  c.step,
  c.method
from jobs as j
inner join first_choices as c on c.plan = j.plan

-- Question: with which method was each step of a job tried first?
-- Grain: one row per (job, step that was done).
-- Reads: attempts.
-- Parameters: none.
-- Columns: entry; step; method (null: not recorded).
create or replace temp view first_methods as
select
  entry,
  step,
  method
from attempts
where attempt = 1

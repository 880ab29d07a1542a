-- Question: how was each step of each job tried, one try after another?
-- Grain: one row per attempt; a step left blank is one attempt of method null.
-- Reads: records.attempts.
-- Parameters: none.
-- Columns: entry; step; attempt (1, 2, ...); method (null: not recorded).
create or replace temp view attempts as
select
  entry,
  step,
  attempt,
  method
from records.attempts

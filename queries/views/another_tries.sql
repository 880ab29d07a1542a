-- Question: did a step need another try?
-- Grain: one row per (job, step that was done).
-- Reads: attempts.
-- Parameters: none.
-- Columns: entry; step; another ('yes': two attempts or more, 'no', null: nothing recorded).
create or replace temp view another_tries as
with
-- one row per (job, step done)
counted as (
  select
    entry,
    step,
    max(attempt) as tries,
    count(method) as told
  from attempts
  group by entry, step
)
select
  entry,
  step,
  case when tries > 1 then 'yes' when told > 0 then 'no' end as another
from counted

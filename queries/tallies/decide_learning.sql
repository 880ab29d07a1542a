-- Question: at which steps did somebody begin with a method after the first 90 days of the records?
-- Grain: one row per such step.
-- Reads: jobs, first_choices.
-- Parameters: first (first day of the records).
-- Columns: step.
with
-- one row per (step, method, technician): the first use
began as (
  select
    c.step,
    c.method,
    j.technician,
    min(j.finished) as day
  from jobs as j
  inner join first_choices as c on c.plan = j.plan
  where c.method is not null and j.technician is not null
  group by c.step, c.method, j.technician
)
select distinct step
from began
where date_diff('day', $first, day) >= 90

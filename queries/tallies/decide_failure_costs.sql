-- Question: what did failures cost where the sheet says so?
-- Grain: one row per mode that was the only failure of some job.
-- Reads: jobs, records.failures.
-- Parameters: none.
-- Columns: mode; jobs (on which it was the only failure); stated (of these, with a recorded
--   failure_cost; more than 1,000,000,000, which older stores may hold and imports hold back now,
--   counts as not recorded); money (the sum of these; of decimals, which is the same in whatever
--   order threads add them up).
with
-- one row per job with one failing mode
single as (
  select
    entry,
    min(mode) as mode
  from records.failures
  group by entry
  having min(mode) = max(mode)
),
-- one row per job with the cost of its failure, if that can be
costed as (
  select
    entry,
    case when failure_cost <= 1000000000 then failure_cost end as failure_cost
  from jobs
)
select
  s.mode,
  count(*) as jobs,
  count(j.failure_cost) as stated,
  cast(sum(cast(j.failure_cost as decimal(38, 9))) as double) as money
from single as s
inner join costed as j on j.entry = s.entry
group by s.mode

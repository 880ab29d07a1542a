-- Question: for which reasons did devices come back after one repair?
-- Grain: one row per (model, reason).
-- Reads: followups.
-- Parameters: repair (jobs asked for this and nothing else), days (of follow-up).
-- Columns: model; reason (a mode; '': nobody wrote down why); returns (jobs, of those watched for
--   all these days and not come-backs themselves).
select
  model,
  coalesce(reason, '') as reason,
  count(*) as returns
from followups
where
  repair = $repair
  and rework = 'no'
  and days_watched >= $days
  and days_back <= $days
  and coalesce(reason, '') <> 'unrelated'
group by model, coalesce(reason, '')

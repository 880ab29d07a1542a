-- Question: how many devices came back for each failure mode?
-- Grain: one row per mode that was the reason of a come-back.
-- Reads: followups.
-- Parameters: none.
-- Columns: mode; returns (completed jobs whose first return was for it).
select
  reason as mode,
  count(*) as returns
from followups
where reason is not null
group by reason
order by mode

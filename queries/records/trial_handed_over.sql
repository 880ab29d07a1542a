-- Question: was this job of this technician handed over before a day, so that a draw comes too late?
-- Grain: one row, none if not. Parameters: job, technician, day. Columns: finished.
select finished
from records.jobs
where lower(trim(job)) = lower(trim($job)) and finished < $day::date
  and coalesce(fold_name(technician), fold_name($technician)) = fold_name($technician)
order by finished desc
limit 1

-- Question: which trials are there, how far are they, and was this device drawn for or kept out?
-- Grain: one row a trial. Reads: records.trials, records.assignments, records.exclusions.
-- Parameters: job (null: not known yet).
-- Columns: trial, choice, baseline, option; room (some jobs are still to be handed out); assigned
--   (drawn for this job, null: nothing was); kept_out (this job was).
with
-- one row a trial with slots handed out
handed as (
  select trial, count(*) as slots, any_value(assigned) filter (job = $job) as assigned
  from records.assignments
  where handed_out is not null
  group by trial
),
-- one row a trial that this job was kept out of
excluded as (
  select distinct trial from records.exclusions where job = $job
)
select
  t.trial, t.choice, t.baseline, t.option, coalesce(h.slots, 0) < t.max_jobs as room, h.assigned,
  x.trial is not null as kept_out
from records.trials as t
left join handed as h on h.trial = t.trial
left join excluded as x on x.trial = t.trial
order by t.started, t.trial

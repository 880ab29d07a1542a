-- Question: what is known of each job as it stands now?
-- Grain: one row per job (entry).
-- Reads: records.jobs, renamed.
-- Parameters: none.
-- Columns: entry (key to the other views); job, branch, finished, received, model, repair (codes
--   joined with '; '), technician, outcome; minutes; price, failure_cost (money); notes; returned,
--   return_reason, return_of, trial, assigned; month 'YYYY-MM', quarter 'YYYY-Qn', year 'YYYY' of
--   finished; rework 'yes' or 'no' (is itself a come-back); covers, batch (where it came from);
--   plan (its first choices, see first_choices).
create or replace temp view jobs as
select
  j.entry,
  j.job,
  coalesce(b.shown, j.branch) as branch,
  j.finished,
  j.received,
  coalesce(m.shown, j.model) as model,
  j.repair,
  coalesce(t.shown, j.technician) as technician,
  j.outcome,
  j.minutes,
  j.price,
  j.failure_cost,
  j.notes,
  j.returned,
  j.return_reason,
  j.return_of,
  j.trial,
  j.assigned,
  substr(cast(j.finished as varchar), 1, 7) as month,
  concat(cast(year(j.finished) as varchar), '-Q', cast(quarter(j.finished) as varchar)) as quarter,
  cast(year(j.finished) as varchar) as year,
  case when j.return_of is null then 'no' else 'yes' end as rework,
  j.covers,
  j.batch,
  j.plan
from records.jobs as j
left join renamed as b on b.kind = 'branch' and b.stored = j.branch
left join renamed as m on m.kind = 'model' and m.stored = j.model
left join renamed as t on t.kind = 'technician' and t.stored = j.technician

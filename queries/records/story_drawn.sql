-- Question: what was drawn for this job in trials, and which kept it out?
-- Grain: one row a trial. Reads: records.assignments, records.exclusions, records.trials.
-- Parameters: job. Columns: trial, choice, assigned (null: kept out), reason (why it was kept out).
select a.trial, t.choice, a.assigned, null::varchar as reason
from records.assignments as a
left join records.trials as t on t.trial = a.trial
where a.job = $job and a.handed_out is not null
union all
select x.trial, t.choice, null, x.reason
from records.exclusions as x
left join records.trials as t on t.trial = x.trial
where x.job = $job
order by all

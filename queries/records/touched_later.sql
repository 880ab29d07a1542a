-- Question: which later import replaced jobs of this one?
-- Grain: one row such an import, earliest first. Reads: past.jobs. Parameter: batch.
-- Columns: batch, jobs, example (one of the jobs).
select replaced_by as batch, count(*) as jobs, min(job) as example
from past.jobs
where batch = $batch and replaced_by > $batch
group by replaced_by
order by replaced_by

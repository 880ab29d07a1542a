-- Question: was this job kept out of a trial, and why?
-- Grain: one row per time it was. Parameters: trial, job. Columns: reason.
select reason
from records.exclusions
where trial = $trial and job = $job
order by recorded

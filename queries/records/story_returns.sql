-- Question: which jobs say that they are the come-back of this one?
-- Grain: one row such a job, in order of hand-over. Reads: records.jobs.
-- Parameters: job, branch (null: the job has none).
-- Columns: job, received, finished (dates as text), repair, failures (modes, null: none noted).
-- Where several branches have the same numbers, a come-back is taken to be in the branch of its job.
select
  j.job, cast(j.received as varchar) as received, cast(j.finished as varchar) as finished,
  j.repair,
  (select string_agg(distinct f.mode, '; ' order by f.mode) from records.failures as f
   where f.entry = j.entry) as failures
from records.jobs as j
where j.return_of = $job and j.branch is not distinct from $branch
order by j.finished, j.job

-- Question: which entries does a job have, now and in the past?
-- Grain: one row an entry. Reads: records.jobs, past.jobs. Parameters: job, branch (null: any).
-- Columns: entry, branch.
create or replace temp table leaving as
with
-- one row an entry
entries as (
  select entry, job, branch from records.jobs
  union all
  select entry, job, branch from past.jobs
)
select entry, branch from entries
where job = $job and ($branch is null or fold_name(branch) = fold_name($branch))

-- Question: which entry is this job, as it stands now?
-- Grain: one row a branch that has it. Reads: records.jobs. Parameters: job, branch (null: any).
-- Columns: entry, branch.
create or replace temp table wanted as
select entry, branch from records.jobs
where job = $job and ($branch is null or fold_name(branch) = fold_name($branch))
order by branch

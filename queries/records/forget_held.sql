-- Does: removes the held-back rows of a job. Parameters: job, branch (null: any).
delete from records.heldback
where job = $job and ($branch is null or fold_name(branch) = fold_name($branch))

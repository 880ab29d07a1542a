-- Question: which versions does a job have, now and in the past?
-- Grain: one row an entry, oldest first. Reads: records.jobs, past.jobs, records.batches.
-- Parameters: job, branch (null: any).
-- Columns: entry, branch; batch, file, kind, taken_in of the import that brought it; replaced_by (the
--   import that replaced it, or was taken back and had brought it; null: it stands).
create or replace temp table wanted as
with
-- one row an entry
entries as (
  select entry, job, branch, batch, null::integer as replaced_by from records.jobs
  union all
  select entry, job, branch, batch, replaced_by from past.jobs
)
select e.entry, e.branch, e.batch, b.file, b.kind, b.taken_in, e.replaced_by
from entries as e
left join records.batches as b on b.batch = e.batch
where e.job = $job and ($branch is null or fold_name(e.branch) = fold_name($branch))
order by e.entry

-- Question: which good rows does the sheet have?
-- Grain: one row a row of the sheet that names a held-back row, or may mend one of its job.
-- Reads: sheet, met_jobs, records.heldback. Columns: row, job, branch, held_back, changed (or added).
create or replace temp table accepted as
select s.row, s.job, s.branch, s.held_back, m.same is distinct from true as changed
from sheet as s
left join met_jobs as m on m.row = s.row
where exists (select 1 from records.heldback)

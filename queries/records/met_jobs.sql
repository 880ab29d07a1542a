-- Question: which rows of the sheet are of a job that is already in the records?
-- Grain: one row such a row. Reads: sheet, records.jobs.
-- Columns: row, entry (as it stands in the records), same (nothing has changed).
create or replace temp table met_jobs as
select s.row, j.entry, j.content = s.content as same
from sheet as s
join records.jobs as j on j.job = s.job and j.branch is not distinct from s.branch

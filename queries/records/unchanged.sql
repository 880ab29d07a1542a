-- Question: how many rows of the sheet are as the records have them already?
-- Grain: one row. Reads: met_jobs. Columns: count.
select count(*) as count from met_jobs where same

-- Question: which entries does the sheet replace?
-- Grain: one row an entry. Reads: met_jobs. Columns: entry.
create or replace temp table leaving as
select entry from met_jobs where not same

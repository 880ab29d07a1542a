-- Question: which entries did an import bring that still stand?
-- Grain: one row an entry. Reads: records.jobs. Parameter: batch. Columns: entry.
create or replace temp table leaving as
select entry from records.jobs where batch = $batch

-- Question: which earlier versions did an import replace?
-- Grain: one row an entry. Reads: past.jobs. Parameter: batch. Columns: entry.
create or replace temp table leaving as
select entry from past.jobs where replaced_by = $batch and batch <> $batch

-- Question: is there an import of this number, and was it taken back?
-- Grain: one row, or none. Reads: records.batches. Parameter: batch. Columns: file, undone.
select file, undone from records.batches where batch = $batch

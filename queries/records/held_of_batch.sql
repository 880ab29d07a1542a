-- Question: how many faults did one import store?
-- Grain: one row. Reads: records.heldback. Parameter: batch. Columns: count.
select count(*) as count from records.heldback where batch = $batch

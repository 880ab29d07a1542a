-- Question: which number is free for a set of covered modes?
-- Grain: one row. Reads: records.batches. Columns: covers.
select coalesce(max(covers_set), 0) + 1 as covers from records.batches

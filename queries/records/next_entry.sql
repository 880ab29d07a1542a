-- Question: which entry and batch numbers are free?
-- Grain: one row. Reads: records.jobs, past.jobs, records.batches. Columns: entry, batch.
select
  greatest(
    coalesce((select max(entry) from records.jobs), 0),
    coalesce((select max(entry) from past.jobs), 0)) + 1 as entry,
  coalesce((select max(batch) from records.batches), 0) + 1 as batch

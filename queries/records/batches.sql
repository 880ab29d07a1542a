-- Question: which imports were there?
-- Grain: one row an import, latest last. Reads: records.batches, records.heldback.
-- Columns: those of records.batches without covers_set; waiting (rows of it still held back).
select
  b.batch, b.file, b.taken_in, b.kind, b.covers, b.mapping, b.rows_read, b.added, b.changed,
  b.unchanged, b.repeated, b.held_back, b.undone,
  (select count(distinct h.row) from records.heldback as h
   where h.batch = b.batch and h.cleared_by is null) as waiting
from records.batches as b
order by b.batch

-- Does: notes earlier faults of rows that came again and are still wrong, in another way.
-- Reads: records.heldback, sheet, faults. Writes: records.heldback. Parameter: batch.
update records.heldback as h
set cleared_by = $batch
where h.cleared_by is null and h.batch <> $batch
  and concat(h.batch, ':', h.row) in (
    select s.held_back from sheet as s
    where s.held_back is not null
      and s.row in (select row from records.heldback where batch = $batch))

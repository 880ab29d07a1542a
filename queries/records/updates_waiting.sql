-- Question: how many updates of jobs of this file are still held back?
-- Grain: one row. Reads: accepted, records.heldback, records.batches. Parameter: batch.
-- Columns: count.
select count(distinct (h.batch, h.row)) as count
from records.heldback as h
join records.batches as b on b.batch = h.batch and b.kind = 'update'
where h.cleared_by is null and h.batch <> $batch and h.job in (select job from accepted)

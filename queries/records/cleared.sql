-- Does: notes the held-back rows whose mended row has come in.
-- Reads: accepted (job, branch, held_back, changed). Writes: records.heldback. Parameter: batch.
update records.heldback as h
set cleared_by = $batch
where h.cleared_by is null and h.batch <> $batch
  and (
    concat(h.batch, ':', h.row) in (select held_back from accepted where held_back is not null)
    or exists (
      select 1 from accepted as a
      where a.changed and a.job = h.job and a.branch is not distinct from h.branch))

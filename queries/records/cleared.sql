-- Does: notes the faults held back earlier that are mended by what has come in.
-- A row with the key of a held-back row mends that row; so does a whole row of the same job. Part
-- of a row (an update) mends only faults of the columns it fills.
-- Reads: accepted (row, job, branch, held_back, changed), filled (row, col).
-- Writes: records.heldback. Parameters: batch; whole (rows are whole rows, filled is not asked).
update records.heldback as h
set cleared_by = $batch
where h.cleared_by is null and h.batch <> $batch
  and (
    concat(h.batch, ':', h.row) in (select held_back from accepted where held_back is not null)
    or exists (
      select 1 from accepted as a
      where a.changed and a.job = h.job and a.branch is not distinct from h.branch
        and ($whole or (a.row, h."column") in (select (f.row, f.col) from filled as f))))

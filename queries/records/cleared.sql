-- Does: notes the faults held back earlier that are mended by what has come in.
-- A row with the key of a held-back row mends that row; so does a whole row of the same job. Part
-- of a row (an update) mends only faults of the columns it fills. A held-back update is mended only
-- by a row that fills every column it fills, be it changed or not: with less its change were lost.
-- Reads: accepted (row, job, branch, held_back, changed), filled (row, col), records.batches.
-- Writes: records.heldback. Parameters: batch; whole (rows are whole rows).
update records.heldback
set cleared_by = $batch
where rowid in (
  with
  -- one row a fault that waits; partial: of an update
  waiting as (
    select
      h.rowid as fault, h.job, h.branch, h."column", concat(h.batch, ':', h.row) as key,
      b.kind = 'update' as partial, json_keys(h.line) as needed
    from records.heldback as h
    join records.batches as b on b.batch = h.batch
    where h.cleared_by is null and h.batch <> $batch
  ),
  -- one row a row of the sheet: the columns it fills, as far as they are asked for
  filled_columns as (
    select row, list(col) as given from filled group by row
  ),
  -- one row a fault and row of the sheet of the same job
  met_faults as (
    select w.*, coalesce(f.given, []) as given
    from waiting as w
    join accepted as a on a.job = w.job and (a.changed or w.partial)
      and (a.branch is not distinct from w.branch or (w.partial and w.branch is null))
    left join filled_columns as f on f.row = a.row
  )
  select w.fault from waiting as w join accepted as a on a.held_back = w.key
  union
  select fault from met_faults
  where case when partial then list_has_all(given, needed)
    else $whole or list_contains(given, "column") end
)

-- Question: what do the rows fill of which it matters if something held back is mended?
-- Grain: one row a row of the file whose job has a fault that waits: of an update, or any where the
--   file is an update (whole: it is none).
-- Reads: what slot source selects, accepted, records.heldback, records.batches. Parameter: whole.
-- Columns: those of source.
create or replace temp table filling as
select * from (/*source*/)
where row in (
  select a.row
  from accepted as a
  join records.heldback as h on h.job = a.job and h.cleared_by is null
  join records.batches as b on b.batch = h.batch
  where b.kind = 'update' or (a.changed and not $whole)
)

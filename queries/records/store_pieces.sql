-- Does: stores one row a piece. Parameters: base, covers. Slot pieces: one statement a part,
--   from rows that carry model, technician and covers of their job.
insert into records.pieces
select
  $base + p.row, p.part, p.piece, p.grade, p.supplier, p.lot, p.cost, p.fitted,
  p.model, p.technician, coalesce(p.covers, $covers)
from (/*pieces*/) as p

-- Does: stores one row a piece. Parameter: base. Slot pieces: one statement a part.
insert into records.pieces
select $base + p.row, p.part, p.piece, p.grade, p.supplier, p.lot, p.cost, p.fitted
from (/*pieces*/) as p

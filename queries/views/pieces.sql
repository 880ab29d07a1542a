-- Question: which pieces were fitted on each job, or seen in the device, one after another?
-- Grain: one row per piece.
-- Reads: records.pieces, renamed.
-- Parameters: none.
-- Columns: entry; part; piece (1, 2, ...); grade, supplier, lot (null: not recorded); cost (money);
--   fitted (false: seen in the device only).
create or replace temp view pieces as
select
  p.entry,
  p.part,
  p.piece,
  p.grade,
  coalesce(s.shown, p.supplier) as supplier,
  coalesce(l.shown, p.lot) as lot,
  p.cost,
  p.fitted
from records.pieces as p
left join renamed as s on s.kind = 'supplier' and s.stored = p.supplier
left join renamed as l on l.kind = 'lot' and l.stored = p.lot

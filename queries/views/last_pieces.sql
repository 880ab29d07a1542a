-- Question: which piece of each part was in the device when it was handed over?
-- Grain: one row per (job, part fitted): the last piece fitted.
-- Reads: pieces.
-- Parameters: none.
-- Columns: entry; part; grade, supplier, lot (null: not recorded).
create or replace temp view last_pieces as
with
-- one row per piece that another one followed: few, so that most pieces pass without being sorted
followed as (
  select
    entry,
    part,
    piece - 1 as piece
  from pieces
  where piece > 1
)
select
  p.entry,
  p.part,
  p.grade,
  p.supplier,
  p.lot
from pieces as p
left join followed as f on f.entry = p.entry and f.part = p.part and f.piece = p.piece
where p.fitted and f.entry is null

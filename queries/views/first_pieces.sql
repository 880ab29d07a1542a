-- Question: which piece of each part was fitted first on a job?
-- Grain: one row per (job, part fitted).
-- Reads: pieces.
-- Parameters: none.
-- Columns: entry; part; grade, supplier, lot (null: not recorded).
create or replace temp view first_pieces as
select
  entry,
  part,
  grade,
  supplier,
  lot
from pieces
where fitted and piece = 1

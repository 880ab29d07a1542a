-- Question: which columns hold cells that we write differently, or that are wrong?
-- Grain: one row a column. Reads: cells.
-- Columns: col, rewritten, faulty, all_faulty.
select
  col,
  bool_or(clean is distinct from cell) as rewritten,
  bool_or(reason is not null) as faulty,
  bool_and(reason is not null) as all_faulty
from cells
group by col

-- Question: what was tried, attempt by attempt and piece by piece?
-- Grain: one row per attempt at a step or piece fitted.
-- Reads: attempts, pieces.
-- Parameters: none.
-- Columns: kind ('steps' or 'part'); entry; place (step or part); number (attempt or piece); option
--   (method or grade, null: not recorded); supplier, lot (of pieces).
create or replace temp view tries as
select
  'steps' as kind,
  entry,
  step as place,
  attempt as number,
  method as option,
  cast(null as varchar) as supplier,
  cast(null as varchar) as lot
from attempts
union all
select
  'part' as kind,
  entry,
  part as place,
  piece as number,
  grade as option,
  supplier,
  lot
from pieces
where fitted

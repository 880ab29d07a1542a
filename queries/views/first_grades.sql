-- Question: of which grade is the first piece of each part, fitted or seen in the device?
-- Grain: one row per (job, part with a piece).
-- Reads: records.pieces.
-- Parameters: none.
-- Columns: entry; part; grade (null: not known); fitted.
create or replace temp view first_grades as
select
  entry,
  part,
  grade,
  fitted
from records.pieces
where piece = 1

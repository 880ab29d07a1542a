-- Question: what did the pieces of a part cost that were fitted first?
-- Grain: one row per (option, model, grade).
-- Reads: decide_chosen, pieces.
-- Parameters: part.
-- Columns: option; model; grade (null: not recorded); pieces; paid (pieces with a recorded cost);
--   money (their sum; of decimals, which is the same in whatever order threads add them up).
select
  c.option,
  c.model,
  p.grade,
  count(*) as pieces,
  count(p.cost) as paid,
  cast(sum(cast(p.cost as decimal(38, 9))) as double) as money
from decide_chosen as c
inner join pieces as p on p.entry = c.entry and p.part = $part and p.piece = 1
group by all

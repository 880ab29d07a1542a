-- Question: what did the pieces of a part cost that were fitted first?
-- Grain: one row per (option, model, grade).
-- Reads: decide_chosen, pieces.
-- Parameters: part.
-- Columns: option; model; grade (null: not recorded); pieces; paid (pieces with a recorded cost; more
--   than 1,000,000,000, which older stores may hold and imports hold back now, counts as not
--   recorded); money (their sum; of decimals, which is the same in whatever order threads add them
--   up).
with
-- one row per piece that was fitted first, with its cost if that can be
first_fitted as (
  select
    entry,
    grade,
    case when cost <= 1000000000 then cost end as cost
  from pieces
  where part = $part and piece = 1
)
select
  c.option,
  c.model,
  p.grade,
  count(*) as pieces,
  count(p.cost) as paid,
  cast(sum(cast(p.cost as decimal(38, 9))) as double) as money
from decide_chosen as c
inner join first_fitted as p on p.entry = c.entry
group by all

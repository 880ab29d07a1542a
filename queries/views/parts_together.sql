-- Question: how many kinds of part were fitted on a job?
-- Grain: one row per job with a part fitted.
-- Reads: first_pieces.
-- Parameters: none.
-- Columns: entry; together ('1', '2', '3 or more').
create or replace temp view parts_together as
with
-- one row per job with a part fitted
counted as (
  select
    entry,
    count(*) as kinds
  from first_pieces
  group by entry
)
select
  entry,
  case when kinds >= 3 then '3 or more' when kinds = 2 then '2' else '1' end as together
from counted

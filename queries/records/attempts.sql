-- Question: which attempts were there at one step?
-- Grain: one row an attempt; Python joins one such statement per step by "union all".
-- Reads: slot source (sheet or some of its rows). Slots: code, column.
-- Columns: row, step, attempt, method (null: not recorded).
select row, /*code*/ as step, 1::smallint as attempt, nullif(/*column*/, '?') as method
from /*source*/
where not contains(/*column*/, ' > ')
union all
select
  row, /*code*/, generate_subscripts(string_split(/*column*/, ' > '), 1)::smallint,
  nullif(unnest(string_split(/*column*/, ' > ')), '?')
from /*source*/
where contains(/*column*/, ' > ')

-- Question: which pieces of one part were there?
-- Grain: one row a piece; Python joins one such statement per part by "union all".
-- Reads: slot source (sheet or some of its rows). Slots: code, grade, supplier, lot, cost, fitted
--   (identifiers, or null where the sheet has no such column).
-- Columns: row, part, piece, grade, supplier, lot, cost (money), fitted.
select
  row, /*code*/ as part, 1::smallint as piece, nullif(/*grade*/, '?') as grade,
  nullif(/*supplier*/, '?') as supplier, nullif(/*lot*/, '?') as lot,
  try_cast(/*cost*/ as double) as cost, /*fitted*/ is distinct from 'no' as fitted
from /*source*/
where not contains(/*grade*/, ' > ')
union all
select
  row, /*code*/, generate_subscripts(string_split(/*grade*/, ' > '), 1)::smallint,
  nullif(unnest(string_split(/*grade*/, ' > ')), '?'),
  nullif(unnest(string_split(/*supplier*/, ' > ')), '?'),
  nullif(unnest(string_split(/*lot*/, ' > ')), '?'),
  try_cast(unnest(string_split(/*cost*/, ' > ')) as double), /*fitted*/ is distinct from 'no'
from /*source*/
where contains(/*grade*/, ' > ')

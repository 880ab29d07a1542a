-- Question: which different texts stand in one column of the file?
-- Grain: one row a distinct cell; Python joins one such statement per column by "union all".
-- Reads: raw_sheet. Slots: code and column, the name of the column as text and as identifier.
-- Columns: col; cell; first_row (position of its first use, from 0).
select /*code*/ as col, /*column*/ as cell, min(rowid) as first_row
from raw_sheet
where /*column*/ is not null
group by /*column*/

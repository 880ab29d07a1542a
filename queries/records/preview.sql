-- Question: what is held back, row by row?
-- Grain: one row a fault. Reads: faults. Columns: row, column, value, reason.
select distinct row, col as "column", value, reason
from faults
order by row, "column", reason
limit 1000

-- Question: how many rows of the sheet are held back?
-- Grain: one row. Reads: faults. Columns: count.
select count(distinct row) as count from faults

-- Question: which different dates does the file hold?
-- Grain: one row a column and text. Reads: distinct_cells, sheet_columns. Columns: col, written.
select distinct c.col, tidy(c.cell) as written
from distinct_cells as c
join sheet_columns as k on k.col = c.col
where k.kind = 'date' and tidy(c.cell) not in ('', '-') and not starts_with(c.cell, '=')
order by all

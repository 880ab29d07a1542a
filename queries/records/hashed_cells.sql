-- Question: which cells are replaced by a keyed hash?
-- Grain: one row a column and cell. Reads: distinct_cells. Parameter: columns. Columns: col, cell.
select col, cell from distinct_cells where list_contains($columns::varchar[], col)

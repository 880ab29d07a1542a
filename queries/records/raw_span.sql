-- Question: between which row numbers does the file lie as it was read?
-- Grain: one row. Reads: raw_sheet. Columns: first, last, rows.
select min(rowid) as first, max(rowid) as last, count(*) as rows from raw_sheet

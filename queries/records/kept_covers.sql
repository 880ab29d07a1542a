-- Question: how many rows of the sheet keep the covers of an earlier import?
-- Grain: one row. Reads: sheet. Columns: kept, rows (all of the sheet).
select count(covers) as kept, count(*) as rows from sheet

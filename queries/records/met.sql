-- Question: which repairs and sets of failures does the sheet name?
-- Grain: one row a column and text. Reads: cells. Columns: col, cell.
create or replace temp table met as
select distinct col, clean as cell from cells
where col in ('repair', 'failures') and clean is not null

-- Grain: one row a row of the file, cells in our spelling; wrong cells as they came, masked.
-- Reads: raw_sheet, cells. Slots: row (its number), columns, joins (one for each column whose
--   cells are written differently).
select /*row*/ as row, /*columns*/
from raw_sheet
/*joins*/

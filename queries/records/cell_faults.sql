-- Does: notes the rows that have a wrong cell in one column.
-- Reads: raw_sheet, cells. Writes: faults. Slots: row, code, column.
insert into faults (row, col, value, reason)
select /*row*/, /*code*/, c.shown, c.reason
from raw_sheet
join cells as c on c.col = /*code*/ and c.cell = raw_sheet./*column*/
where c.reason is not null

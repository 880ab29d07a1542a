-- Question: which different cells does one column of the file hold, for a look?
-- Grain: one row a distinct cell. Reads: raw_sheet. Slot: column. Parameter: most. Columns: cell.
select distinct trim(/*column*/) as cell
from raw_sheet
where trim(/*column*/) not in ('', '-')
order by cell
limit $most

-- Question: what was recorded for one factor?
-- Grain: one row a job; Python joins one such statement per factor by "union all". Reads: sheet.
-- Parameter: base. Slots: code, column, number (the cell as a number, or null).
-- Columns: entry, factor, value, number.
select $base + row, /*code*/, /*column*/, /*number*/ from sheet where /*column*/ is not null

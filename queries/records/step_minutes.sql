-- Question: how many minutes did one step take?
-- Grain: one row a job; Python joins one such statement per step by "union all". Reads: sheet.
-- Parameter: base. Slots: code (of the step), column. Columns: entry, step, minutes.
select $base + row, /*code*/, cast(/*column*/ as double) from sheet where /*column*/ is not null

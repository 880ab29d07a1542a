-- Question: which columns does a row fill?
-- Grain: one row a filled cell; Python joins one such statement per column by "union all".
-- Reads: filling. Slots: code, column. Columns: row, col.
select row, /*code*/ as col from filling where /*column*/ is not null

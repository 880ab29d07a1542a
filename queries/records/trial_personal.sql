-- Question: do these words hold personal data, and of what sort?
-- Grain: one row. Reads: the macro personal. Parameters: words. Columns: fault (null: none).
select personal($words::varchar) as fault

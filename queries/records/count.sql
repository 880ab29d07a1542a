-- Question: how many rows has a table?
-- Grain: one row. Slot: table. Columns: count.
select count(*) as count from /*table*/

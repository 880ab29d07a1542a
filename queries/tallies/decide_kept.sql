-- Question: what do choices read of a view, one after another?
-- Grain: that of the view (slot view: marks_first or mixed_units).
-- Reads: the view.
-- Parameters: none; slot: view. A table: each choice reads it once.
-- Columns: those of the view.
create or replace temp table decide_/*view*/ as
select * from /*view*/

-- Question: what do the counting statements read of a view, once the watched rows lie in a table?
-- Grain: that of the view (slot view).
-- Reads: watched_VIEW, made by the statement watch_kept.
-- Parameters: none; slot: view. It takes the place of the view as long as jobs are watched.
-- Columns: those of the view.
create or replace temp view /*view*/ as
select * from watched_/*view*/

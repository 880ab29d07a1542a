-- Question: which rows of a view belong to the watched jobs?
-- Grain: that of the view (slot view: mentions, marks_first or units_beside_steps).
-- Reads: the view, watched_jobs.
-- Parameters: none; slot: view. It becomes the temporary table watched_VIEW: modes, families and
--   every kind of group read these rows in turn.
-- Columns: those of the view.
create or replace temp table watched_/*view*/ as
select v.*
from /*view*/ as v
inner join watched_jobs as j on j.entry = v.entry

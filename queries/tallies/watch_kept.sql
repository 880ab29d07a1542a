-- Question: which rows of a view belong to the watched jobs?
-- Grain: that of the view (slot view: flags, first_pieces or marks_first).
-- Reads: the view, watched_asked.
-- Parameters: none; slot: view. It becomes the temporary table watched_VIEW: modes, families and
--   every kind of group read these rows in turn.
-- Columns: those of the view.
create or replace temp table watched_/*view*/ as
select v.*
from /*view*/ as v
inner join watched_asked as j on j.entry = v.entry

-- Question: which rows of a view belong to the examples of the kinds of job?
-- Grain: that of the view (slot view: first_grades).
-- Reads: the view, watched_kinds.
-- Parameters: none; slot: view. It becomes the temporary table watched_VIEW: what may be mixed is
--   worked out for a job of each kind, not for all.
-- Columns: those of the view.
create or replace temp table watched_/*view*/ as
select v.*
from /*view*/ as v
inner join watched_kinds as k on k.example = v.entry

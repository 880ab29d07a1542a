-- Question: on which watched jobs was a part fitted, and which piece?
-- Grain: one row per watched job, change of a job, or job followed up (slot of), with such a piece.
-- Reads: watched_jobs or watched_changes and first_pieces, or watched_followups and last_pieces (slots
--   of, pieces).
-- Parameters: part; slots: of (jobs, changes or followups), pieces, only (which of the changes), part (its code, in the name of the table).
--   It becomes the temporary table watched_jobs_of_PART, and so on.
-- Columns: those of the rows; grade, supplier, lot (null: not recorded).
create or replace temp table watched_/*of*/_of_/*part*/ as
select
  j.*,
  p.grade,
  p.supplier,
  p.lot
from watched_/*of*/ as j
inner join /*pieces*/ as p on p.entry = j.entry
where p.part = $part and j.watched /*only*/

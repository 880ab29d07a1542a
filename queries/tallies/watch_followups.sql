-- Question: how were the watched jobs followed after hand-over?
-- Grain: one row per completed job of the watched time.
-- Reads: followups, watched_jobs.
-- Parameters: none. It becomes the temporary table watched_followups.
-- Columns: entry; model, quarter, technician; finished; watched (true); reason, days_back,
--   days_watched (as in followups).
create or replace temp table watched_followups as
select
  j.entry,
  j.model,
  j.quarter,
  j.technician,
  j.finished,
  j.watched,
  f.reason,
  f.days_back,
  f.days_watched
from watched_jobs as j
inner join followups as f on f.entry = j.entry
where j.watched

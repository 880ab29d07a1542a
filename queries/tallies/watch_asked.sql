-- Question: which jobs are watched?
-- Grain: one row per job asked about.
-- Reads: asked_jobs.
-- Parameters: since (first watched day). It becomes the temporary table watched_asked: many statements read these jobs.
-- Columns: entry; standing (plan, as in asked_jobs); covers; model, month, quarter, technician;
--   finished; watched (true: from since on; false: of the time before).
create or replace temp table watched_asked as
select
  entry,
  standing,
  covers,
  model,
  month,
  quarter,
  technician,
  finished,
  finished >= $since as watched
from asked_jobs

-- Question: which jobs are watched, with which keys?
-- Grain: one row per job asked about.
-- Reads: asked_jobs.
-- Parameters: none; slot: keys. It becomes the temporary table watched_jobs: several statements read
--   the same jobs, and their technician is a key here where it is asked for at all.
-- Columns: entry; plan, covers (as in asked_jobs); cluster (null: nothing is folded over
--   technicians); the keys; finished.
create or replace temp table watched_jobs as
select
  entry,
  plan,
  covers,
  cast(null as varchar) as cluster,
  /*keys*/
  finished
from asked_jobs

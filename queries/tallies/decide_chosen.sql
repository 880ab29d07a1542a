-- Question: on which jobs was this choice made and recorded, and which of them are the latest?
-- Grain: one row per job.
-- Reads: decide_jobs.
-- Parameters: none; slots: choice (its quoted name), code (that of its codes), keys (quoted names of
--   conditions). A table.
-- Columns: entry; covers; finished; minutes; returned, return_reason; option, model (words);
--   option_code, model_code, the keys (codes of decide_words); latest (1 for the last job with the
--   choice on its model, 2 for the one before, ...; of one day in order of entry).
create or replace temp table decide_chosen as
select
  entry,
  covers,
  finished,
  minutes,
  returned,
  return_reason,
  /*choice*/ as option,
  model,
  /*code*/ as option_code,
  "model code" as model_code,
  /*keys*/
  row_number() over (partition by model order by finished desc, entry desc) as latest
from decide_jobs
where /*choice*/ is not null and /*choice*/ <> '-'

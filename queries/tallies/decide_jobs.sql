-- Question: which jobs are decisions learnt from, with all that each of them had chosen?
-- Grain: one row per job asked about.
-- Reads: decide_told, decide_words (name, word, code: the words of each key, numbered).
-- Parameters: none; slots: keys (codes under the names of the keys), joins (one a key). A table: each
--   choice reads it several times. There are few words and up to a million jobs, nearly each of them
--   a cell of its own: codes are what Python reads fast, and a third of the memory.
-- Columns: entry; covers; finished; minutes (of the job); returned, return_reason (of the first
--   come-back, as its own row says); the keys (codes of decide_words).
create or replace temp table decide_jobs as
select
  t.entry,
  t.covers,
  t.finished,
  /*keys*/
  t.minutes,
  t.returned,
  t.return_reason
from decide_told as t
/*joins*/

-- Question: which jobs are decisions learnt from, with all that each of them had chosen?
-- Grain: one row per job asked about.
-- Reads: asked_jobs, records.jobs.
-- Parameters: none; the slot keys takes quoted names of columns of asked_jobs: every choice, and
--   every condition that may have to be adjusted for. A table: it is read for its words, then coded.
-- Columns: entry; covers; finished; minutes (of the job); returned, return_reason (of the first
--   come-back, as its own row says); the keys.
create or replace temp table decide_told as
with
-- what jobs say of themselves, under names that no key has
told as (
  select
    entry as told_of,
    minutes,
    returned,
    return_reason
  from records.jobs
)
select
  a.entry,
  a.covers,
  a.finished,
  /*keys*/
  t.minutes,
  t.returned,
  t.return_reason
from asked_jobs as a
inner join told as t on t.told_of = a.entry

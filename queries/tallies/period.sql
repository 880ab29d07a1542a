-- Question: which time and which imports do the records cover?
-- Grain: one row.
-- Reads: records.jobs.
-- Parameters: none.
-- Columns: jobs; first, last (of finished); as_of (latest date in the records); rework (jobs that
--   are come-backs); batches (numbers of
--   the imports whose rows stand, joined by commas).
select
  count(*) as jobs,
  min(finished) as first,
  max(finished) as last,
  greatest(max(finished), max(received), max(returned)) as as_of,
  count(return_of) as rework,
  (
    select string_agg(cast(batch as varchar), ',')
    from (select distinct batch from records.jobs order by batch) as present
  ) as batches
from records.jobs

-- Question: which trials do jobs name that were never begun?
-- Grain: one row per name.
-- Reads: jobs, records.trials.
-- Parameters: none.
-- Columns: trial (as written, in small letters); jobs.
with
-- one row per job under a trial
named as (
  select lower(trim(trial)) as trial
  from jobs
  where trim(trial) <> ''
),
-- one row per name that no trial has
unknown as (
  select
    n.trial,
    count(*) as jobs
  from named as n
  anti join records.trials as t on t.trial = n.trial
  group by n.trial
)
select * from unknown
order by jobs desc, trial

-- Question: how many days after intake were jobs handed over on which a choice arose?
-- Grain: one row per (failed, days).
-- Reads: asked_jobs, jobs, asked_modes, records.failures.
-- Parameters: none; the slot choice takes the quoted name of the choice, a column of asked_jobs.
-- Columns: failed (a failure of the modes asked about was seen); days; jobs. Jobs whose day of intake
--   nobody wrote down are left out.
with
-- one row per job on which one of the modes was seen
seen as (
  select distinct f.entry
  from records.failures as f
  inner join asked_modes as m on m.mode = f.mode
),
-- one row per job
taken as (
  select
    s.entry is not null as failed,
    date_diff('day', j.received, j.finished) as days
  from asked_jobs as a
  inner join jobs as j on j.entry = a.entry
  left join seen as s on s.entry = a.entry
  where j.received is not null and a./*choice*/ <> '-'
),
-- one row per (failed, days)
counted as (
  select
    failed,
    days,
    count(*) as jobs
  from taken
  group by failed, days
)
select * from counted
order by failed, days

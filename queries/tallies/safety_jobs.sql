-- Question: how often was each option of a choice used, and how many of these devices came back for
--   one of the modes asked for, of which the job itself says nothing?
-- Grain: one row per (option, model).
-- Reads: asked_jobs, asked_codes, records.jobs, records.failures.
-- Parameters: until (last day of which the returns are known; null: of all); the slot keys takes the
--   quoted name of the choice and the model, columns of asked_jobs.
-- Columns: the choice ('-': not done or not fitted, null: not recorded); model; jobs; returned (jobs).
with
-- jobs on which one of the modes was seen
seen as (
  select distinct f.entry
  from records.failures as f
  inner join asked_codes as c on c.mode = f.mode
),
-- other jobs whose device came back for one of them, however late
back as (
  select r.entry
  from records.jobs as r
  inner join asked_codes as c on c.mode = r.return_reason
  anti join seen as s on s.entry = r.entry
  where r.returned <= coalesce($until, r.returned)
),
-- one row per (option, model)
by_option as (
  select
    /*keys*/
    count(*) as jobs,
    count(b.entry) as returned
  from asked_jobs as j
  left join back as b on b.entry = j.entry
  group by all
)
select * from by_option

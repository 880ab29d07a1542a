-- Question: is what was drawn in a trial spread evenly over technicians and time?
-- Grain: one row per (trial, technician, option drawn).
-- Reads: jobs.
-- Parameters:
--   technician (technician, any): only jobs of this one
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
-- Columns:
--   trial (name): as the job sheet has it
--   technician (name): who did the job
--   assigned (name): the option drawn, whatever was used; null: none, the device was kept out
--   jobs (jobs): recorded so
--   models (models): how many device models are among them
--   first_finished (date): the first of these jobs
--   last_finished (date): the last one
--   share (fraction): of the jobs of that trial and technician with an option drawn; a fact about the
--     draw, so it has no interval; null where none was drawn
-- Notes:
--   blocks hold both options equally often, so shares near a half are to be expected; where they are
--     not, lines were skipped or jobs not recorded
--   jobs are told as their sheets have them: also those that trial status leaves out, since they were
--     handed over before the trial began
with
-- one row per job under a trial
drawn as (
  select
    lower(trim(trial)) as trial,
    technician,
    lower(trim(assigned)) as assigned,
    model,
    finished
  from jobs
  where
    trial is not null
    and ($technician is null or technician = $technician)
    and ($model is null or model = $model)
    and ($since is null or finished >= $since)
    and ($until is null or finished <= $until)
),
-- one row per (trial, technician, option drawn)
counted as (
  select
    trial,
    technician,
    assigned,
    count(*) as jobs,
    count(distinct model) as models,
    min(finished) as first_finished,
    max(finished) as last_finished,
    count(assigned) / nullif(sum(count(assigned)) over (partition by trial, technician), 0) as part
  from drawn
  group by trial, technician, assigned
),
-- the same, without a share for what was not drawn
shared as (
  select
    * exclude (part),
    case when assigned is not null then part end as share
  from counted
)
select * from shared order by trial, technician, assigned

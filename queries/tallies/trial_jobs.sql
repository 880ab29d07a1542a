-- Question: how did each job of a trial go, by every version of its record?
-- Grain: one row per (role, version by which an option is known to have been drawn).
-- Reads: asked_jobs, trial_versions, jobs, outcomes_first, trial_modes, records.trial_models; in a
--   session in which every version is a job of its own.
-- Parameters: trial (its name), place (step or part of the choice); the slot keys takes the quoted
--   name of the choice as used.
-- Columns: role ('main' or 'safety', as in trial_modes); entry; subject, batch, settled, ripe,
--   standing (as in trial_versions); job; technician (bench); model_group; drawn (option drawn); used (the option
--   that was); received, finished (days); failed; doubt (true or false: something that applied was
--   not checked; null for no opportunity).
create or replace temp table trial_jobs as
with
-- one row per version of a job of the trial, whatever its sheet says
asked as (
  select
    j.entry,
    /*keys*/
    j.finished,
    d.subject,
    d.batch,
    d.settled,
    d.ripe,
    d.standing,
    d.drawn
  from asked_jobs as j
  inner join trial_versions as d on d.entry = j.entry
  where d.drawn is not null
),
-- one row per (role, version that was an opportunity for a mode of it)
told as (
  select
    m.role,
    o.entry,
    bool_or(o.state in ('failed', 'unknown_failed')) as failed,
    bool_or(o.state in ('unknown', 'unknown_failed')) as doubt
  from outcomes_first as o
  inner join asked as a on a.entry = o.entry
  inner join trial_modes as m on m.mode = o.mode
  where o.place = '' or o.place = $place
  group by m.role, o.entry
),
-- one row per role
roles as (
  select distinct role from trial_modes
),
-- one row per (role, version)
outcomes as (
  select
    r.role,
    a.*,
    j.job,
    j.received,
    j.technician as bench,
    coalesce(g.model_group, 'middle') as model_group,
    t.failed,
    t.doubt
  from asked as a
  cross join roles as r
  inner join jobs as j on j.entry = a.entry
  left join told as t on t.role = r.role and t.entry = a.entry
  left join records.trial_models as g
    on g.trial = $trial and lower(g.model) = lower(j.model)
)
select * from outcomes

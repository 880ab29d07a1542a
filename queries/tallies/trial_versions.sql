-- Question: which versions has each job of a trial had, and what was drawn by what each says?
-- Grain: one row per version (entry) of a job that is or was in the trial; those of imports that
--   were taken back are as if they had never been.
-- Reads: records.jobs, past.jobs, records.trials, trial_drawn.
-- Parameters: trial (its name).
-- Columns: entry; subject (the same for all versions of one job); batch (the import that brought it);
--   settled (the import by which the days after its intake were over; null: they are not, or this
--   version was replaced before); ripe (the day on which they were; null: it does not wait); standing
--   (true: as it is now); drawn (option: as handed out for the job, else as that version says; null:
--   by that version the job counts for nothing).
-- Notes:
--   The records reach as far as the latest hand-over in them, so no clock is asked.
create or replace temp table trial_versions as
with
-- one row per job recorded in the trial as it stands
standing_jobs as (
  select
    j.job,
    j.branch,
    d.handed,
    d.day
  from trial_drawn as d
  inner join records.jobs as j on j.entry = d.entry
  where d.trial = $trial
),
-- one row per version, but of imports taken back
told as (
  select
    entry, job, branch, received, finished, trial, assigned, batch,
    null as replaced_by,
    true as standing
  from records.jobs
  union all
  select
    entry, job, branch, received, finished, trial, assigned, batch,
    replaced_by,
    false as standing
  from past.jobs
  where replaced_by <> batch
),
-- one row per job that is or was in the trial
members as (
  select job, branch from standing_jobs
  union
  select job, branch from told
  where not standing and lower(trim(trial)) = $trial
),
-- one row per version of these
theirs as (
  select
    v.*,
    min(v.entry) over (partition by v.job, v.branch) as subject
  from told as v
  inner join members as m on m.job = v.job and m.branch is not distinct from v.branch
),
-- one row per import: how far the records reached by it
reaches as (
  select
    batch,
    max(max(finished)) over (order by batch) as reach
  from told
  group by batch
),
-- one row per version whose days are over: by which import
over as (
  select
    v.entry,
    min(r.batch) as settled
  from theirs as v
  inner join records.trials as t on t.trial = $trial
  inner join reaches as r
    on r.batch >= v.batch
    and (
      v.received is null
      or date_diff('day', v.received, r.reach) >= coalesce(t.wait_days, 0)
    )
  group by v.entry
),
-- the same versions, with the option
versions as (
  select
    v.entry,
    v.subject,
    v.batch,
    case when v.standing or v.replaced_by > o.settled then o.settled end as settled,
    cast(v.received + interval '1' day * t.wait_days as date) as ripe,
    v.standing,
    case
      when v.finished < coalesce(s.day, t.day) then null
      when s.handed is not null then s.handed
      when
        lower(trim(v.trial)) = t.trial
        and lower(trim(v.assigned)) in (lower(t.baseline), lower(t.option))
        then lower(trim(v.assigned))
    end as drawn
  from theirs as v
  inner join records.trials as t on t.trial = $trial
  left join over as o on o.entry = v.entry
  left join standing_jobs as s on s.job = v.job and s.branch is not distinct from v.branch
)
select * from versions

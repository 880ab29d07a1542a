-- Question: in which order did the jobs of a trial come to count, each in its stratum and option?
-- Grain: one row per (role, job, stratum and option under which it ever counted).
-- Reads: trial_jobs.
-- Parameters: none.
-- Columns: role; subject; bench, model_group (stratum); drawn; place (from 1 within stratum and
--   option); batch, day (by which it came to count: import, and day of hand-over or of the end of
--   its waiting); failed_then (as told by it); failed (as its record is now; null: it no longer counts there).
-- Notes:
--   Places are only ever added at the end: a job takes its place when a version of its record first
--   says in which stratum it is, what was drawn and whether it failed, and the days after its intake
--   are over (imports in order, within one by day of intake and number, for a file may be sorted by
--   anything, also by outcome). It keeps the place whatever is corrected later, so that no other job
--   moves. The job whose outcome nobody knows takes none, for a job can't be fine because nobody
--   looked. Of the safety modes every job counts at once, with what was seen: no danger may wait, nor
--   be left out because another was not looked for, and what is seen happens at most as often as what
--   happens.
create or replace temp table trial_places as
with
-- one row per (role, version that counts)
counting as (
  select
    role,
    subject,
    entry,
    case when role = 'main' then settled else batch end as batch,
    standing,
    job,
    bench,
    model_group,
    drawn,
    received,
    case when role = 'main' then greatest(finished, ripe) else finished end as day,
    coalesce(failed, false) as failed,
    row_number() over (
      partition by role, subject, bench, model_group, drawn
      order by entry
    ) as version
  from trial_jobs
  where role = 'safety' or (not doubt and settled is not null)
),
-- one row per (role, job, stratum and option): the version that gave it its place, and as it is now
placed as (
  select
    f.role,
    f.subject,
    f.bench,
    f.model_group,
    f.drawn,
    row_number() over (
      partition by f.role, f.bench, f.model_group, f.drawn
      order by f.batch, f.received, f.job, f.subject
    ) as place,
    f.batch,
    f.day,
    f.failed as failed_then,
    n.failed
  from counting as f
  left join counting as n
    on n.standing
    and n.role = f.role
    and n.subject = f.subject
    and n.bench is not distinct from f.bench
    and n.model_group = f.model_group
    and n.drawn = f.drawn
  where f.version = 1
)
select * from placed

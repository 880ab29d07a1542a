-- Question: where could each target have failed, seen by the first choice?
-- Grain: one row per (target, unit). A unit is a job (modes at steps, of mixed parts) or the first
--   fitted piece of a part on a job, which stands for all pieces of that part.
-- Reads: targets, target_places, attempts, pieces, device_grades, modes, jobs.
-- Parameters: none.
-- Columns: target; entry; place (part, else ''); number (0); option (first method or grade, only
--   where the target has one place); maybe (true: not known whether it could have failed);
--   model, technician; covers.
create or replace temp view units_first as
with
-- one row per target with its number of places
sized as (
  select
    t.target,
    t.kind,
    count(*) as places
  from targets as t
  inner join target_places as p on p.target = t.target
  where not t.limited
  group by t.target, t.kind
),
-- targets of one step: its first attempt is the unit
single_step as (
  select
    s.target,
    a.entry,
    '' as place,
    0 as number,
    a.method as option,
    false as maybe,
    a.model,
    a.technician,
    a.covers
  from sized as s
  inner join target_places as p on p.target = s.target
  inner join attempts as a on a.step = p.place and a.attempt = 1
  where s.kind = 'steps' and s.places = 1
),
-- targets of several steps: the job counts once if any of them was done
several_steps as (
  select
    s.target,
    a.entry,
    '' as place,
    0 as number,
    cast(null as varchar) as option,
    false as maybe,
    max(a.model) as model,
    max(a.technician) as technician,
    max(a.covers) as covers
  from sized as s
  inner join target_places as p on p.target = s.target
  inner join attempts as a on a.step = p.place and a.attempt = 1
  where s.kind = 'steps' and s.places > 1
  group by s.target, a.entry
),
-- targets of parts: the first fitted piece of each
of_parts as (
  select
    s.target,
    p.entry,
    p.part as place,
    0 as number,
    p.grade as option,
    false as maybe,
    p.model,
    p.technician,
    p.covers
  from sized as s
  inner join target_places as t on t.target = s.target
  inner join pieces as p on p.part = t.place and p.fitted and p.piece = 1
  where s.kind = 'part'
),
-- one row per (target of mixed parts, job in scope): how many grades are known, how many origins
mixing as (
  select
    m.target_first as target,
    g.entry,
    count(*) as named,
    count(g.origin) as known,
    count(distinct g.origin) as origins
  from device_grades as g
  inner join (select target_first, min(mode) as mode from modes group by target_first) as m
    on m.mode = g.mode
  group by m.target_first, g.entry
),
-- targets of mixed parts: the job, where grades differ or one is not known
of_mixed as (
  select
    x.target,
    x.entry,
    '' as place,
    0 as number,
    cast(null as varchar) as option,
    x.origins < 2 as maybe,
    j.model,
    j.technician,
    j.covers
  from mixing as x
  inner join jobs as j on j.entry = x.entry
  where x.origins >= 2 or x.known < x.named
)
select * from single_step
union all
select * from several_steps
union all
select * from of_parts
union all
select * from of_mixed

-- Question: where could each target have failed, attempt by attempt and piece by piece?
-- Grain: one row per (target, unit). A unit is an attempt, a fitted piece, or (mixed parts) a job.
-- Reads: targets, target_places, target_options, attempts, pieces, units_first.
-- Parameters: none.
-- Columns: as units_first; number: attempt or piece. A target limited to methods or grades has only
--   such attempts or pieces; where the method or grade was not recorded, maybe is true.
create or replace temp view units_attempted as
with
-- attempts and fitted pieces in one shape
tries as (
  select
    'steps' as kind,
    entry,
    step as place,
    attempt as number,
    method as option,
    model,
    technician,
    covers
  from attempts
  union all
  select
    'part' as kind,
    entry,
    part as place,
    piece as number,
    grade as option,
    model,
    technician,
    covers
  from pieces
  where fitted
),
-- tries that qualify for a target
qualified as (
  select
    t.target,
    y.entry,
    y.place,
    y.number,
    y.option,
    t.limited and y.option is null as maybe,
    y.model,
    y.technician,
    y.covers
  from targets as t
  inner join target_places as p on p.target = t.target
  inner join tries as y on y.kind = t.kind and y.place = p.place
  left join target_options as o on o.target = t.target and o.option = y.option
  where not t.limited or y.option is null or o.option is not null
),
-- targets of mixed parts have no attempts: the job, as in the other view
of_mixed as (
  select u.*
  from units_first as u
  inner join targets as t on t.target = u.target
  where t.kind = 'mixed'
)
select * from qualified
union all
select * from of_mixed

-- Question: where could each target have failed, attempt by attempt and piece by piece?
-- Grain: one row per (target, unit). A unit is an attempt, a fitted piece, or (mixed parts) a job.
-- Reads: targets, target_places, target_options, tries, mixed_units.
-- Parameters: none.
-- Columns: target; entry; place (step or part, '' for a job); number (attempt or piece, 0 for a
--   job); option (method or grade); supplier, lot (of pieces); maybe (true: not known whether it
--   could have failed). A target limited to methods or grades has only such attempts or pieces;
--   where the method or grade was not recorded, maybe is true.
create or replace temp view units_attempted as
with
-- tries that qualify for a target
qualified as (
  select
    t.target,
    y.entry,
    y.place,
    y.number,
    y.option,
    y.supplier,
    y.lot,
    t.limited and y.option is null as maybe
  from targets as t
  inner join target_places as p on p.target = t.target
  inner join tries as y on y.kind = t.kind and y.place = p.place
  left join target_options as o on o.target = t.target and o.option = y.option
  where not t.limited or y.option is null or o.option is not null
),
-- targets of mixed parts have no attempts: the job, as in the other view
of_mixed as (
  select
    target,
    entry,
    '' as place,
    0 as number,
    cast(null as varchar) as option,
    cast(null as varchar) as supplier,
    cast(null as varchar) as lot,
    maybe
  from mixed_units
)
select * from qualified
union all
select * from of_mixed

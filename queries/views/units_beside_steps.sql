-- Question: where could each target that is no step have failed, seen by the first choice?
-- Grain: one row per (target of parts or of mixed parts, unit). A unit is the first fitted piece of
--   a part on a job, which stands for all pieces of that part, or (mixed parts) the job.
-- Reads: targets, target_places, first_pieces, mixed_units.
-- Parameters: none.
-- Columns: target; entry; place (part, else ''); number (0); option (null); maybe (true: not
--   known whether it could have failed).
create or replace temp view units_beside_steps as
with
-- targets of parts: the first fitted piece of each
of_parts as (
  select
    t.target,
    f.entry,
    f.part as place,
    0 as number,
    cast(null as varchar) as option,
    false as maybe
  from targets as t
  inner join target_places as p on p.target = t.target
  inner join first_pieces as f on f.part = p.place
  where t.kind = 'part' and not t.limited
),
-- targets of mixed parts: the job
of_mixed as (
  select
    target,
    entry,
    '' as place,
    0 as number,
    cast(null as varchar) as option,
    maybe
  from mixed_units
)
select * from of_parts
union all
select * from of_mixed

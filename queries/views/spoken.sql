-- Question: which pieces and tries are there on jobs and for modes that a record speaks of?
-- Grain: one row per (view, mode, unit that is no job) where a record speaks of the mode: few.
-- Reads: flags, modes, target_places, first_pieces, targets, target_options, tries.
-- Parameters: none.
-- Columns: view ('first' or 'attempted'); mode; target; entry, place, number (the unit); unchecked;
--   excluded (there at intake, so it could not arise: never for a newly fitted piece).
create or replace temp view spoken as
with
-- by first choice: the first fitted piece of each part
pieces_first as (
  select
    'first' as view,
    m.mode,
    m.target_first as target,
    p.entry,
    p.part as place,
    0 as number,
    f.unchecked,
    false as excluded
  from flags as f
  inner join modes as m on m.mode = f.mode
  inner join target_places as t on t.target = m.target_first
  inner join first_pieces as p on p.entry = f.entry and p.part = t.place
  where m.kind = 'part'
),
-- as attempted: every try that qualifies
tries_attempted as (
  select
    'attempted' as view,
    m.mode,
    t.target,
    y.entry,
    y.place,
    y.number,
    f.unchecked,
    f.preexisting and m.kind <> 'part' as excluded
  from flags as f
  inner join modes as m on m.mode = f.mode
  inner join targets as t on t.target = m.target_attempted
  inner join target_places as p on p.target = t.target
  inner join tries as y on y.entry = f.entry and y.kind = t.kind and y.place = p.place
  left join target_options as o on o.target = t.target and o.option = y.option
  where not t.limited or y.option is null or o.option is not null
)
select * from pieces_first
union all
select * from tries_attempted

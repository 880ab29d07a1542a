-- Question: which covers does each row of a mended sheet of held-back rows keep?
-- Grain: one row a row of the sheet, with the covers of the import that first held it back.
-- Reads: what slot source selects, records.heldback, records.batches.
-- Columns: those of source; covers and declared filled where that import has a set of covered modes.
with recursive
-- one row a row of the sheet
given as (/*source*/),
-- one row a row of the sheet and import that held it back: the one its key names, and those before,
-- each of which was followed by another attempt at mending that was held back again
holders as (
  select
    g.row, try_cast(split_part(g.held_back, ':', 1) as integer) as batch,
    try_cast(split_part(g.held_back, ':', 2) as bigint) as held_row
  from given as g
  where g.held_back is not null
  union
  select o.row, earlier.batch, earlier.row
  from holders as o
  join records.heldback as h on h.batch = o.batch and h.row = o.held_row
  join records.heldback as earlier
    on earlier.cleared_by = o.batch and earlier.batch < o.batch
    and earlier.job = h.job and earlier.branch is not distinct from h.branch
),
-- one row a row of the sheet: the first of them
first_holder as (
  select row, min(batch) as batch from holders group by row
)
select
  g.* exclude (covers, declared), b.covers_set as covers,
  case when b.covers_set is not null then b.covers end as declared
from given as g
left join first_holder as f on f.row = g.row
left join records.batches as b on b.batch = f.batch

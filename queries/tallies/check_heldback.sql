-- Question: how many rows of sheets were held back and not yet mended?
-- Grain: one row per file that has such rows.
-- Reads: records.heldback, records.batches.
-- Parameters: none.
-- Columns: file; held_back (rows waiting); rows_read (rows of the file's imports with such rows).
with
-- one row per import with rows waiting
waiting as (
  select
    b.file,
    count(distinct h."row") as held_back,
    max(b.rows_read) as rows_read
  from records.heldback as h
  inner join records.batches as b on b.batch = h.batch
  where h.cleared_by is null and not b.undone
  group by b.file, b.batch
),
-- one row per file
counted as (
  select
    file,
    cast(sum(held_back) as bigint) as held_back,
    cast(sum(rows_read) as bigint) as rows_read
  from waiting
  group by file
)
select * from counted
order by file

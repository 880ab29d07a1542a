-- Question: which imports were there?
-- Grain: one row an import, latest last.
-- Reads: records.batches, records.heldback, records.jobs, past.jobs.
-- Columns: those of records.batches without covers_set; waiting (rows of it still held back).
--   covers: as its jobs have it (rows mended and updates keep the list of an earlier import), as
--   it was declared where it brought none.
with
-- one row a set of covered modes: how it was declared
declarations as (
  select covers_set, any_value(covers) as declared from records.batches
  where covers_set is not null group by covers_set
),
-- one row an import and set of covered modes that jobs of it have or had
sets as (
  select batch, covers from records.jobs
  union
  select batch, covers from past.jobs
),
-- one row an import that brought jobs: the declarations of these
looked_for as (
  select s.batch, string_agg(distinct d.declared, '; ' order by d.declared) as covers
  from sets as s
  join declarations as d on d.covers_set = s.covers
  group by s.batch
)
select
  b.batch, b.file, b.taken_in, b.kind, coalesce(l.covers, b.covers) as covers, b.mapping,
  b.rows_read, b.added, b.changed, b.unchanged, b.repeated, b.held_back, b.undone,
  (select count(distinct h.row) from records.heldback as h
   where h.batch = b.batch and h.cleared_by is null) as waiting
from records.batches as b
left join looked_for as l on l.batch = b.batch
order by b.batch

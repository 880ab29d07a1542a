-- Grain: one row a row of the sheet, with the covers of the job as it stands in the records: who
--   corrects a cell says nothing about what the bench looked for.
-- Reads: what slot source selects, records.jobs, records.batches.
-- Columns: those of source; covers and declared filled.
with
-- one row a row of the sheet
given as (/*source*/),
-- one row a set of covered modes: how it was declared
declarations as (
  select covers_set, any_value(covers) as declared from records.batches
  where covers_set is not null group by covers_set
)
select g.* exclude (covers, declared), j.covers, d.declared
from given as g
left join records.jobs as j on j.job = g.job and j.branch is not distinct from g.branch
left join declarations as d on d.covers_set = j.covers

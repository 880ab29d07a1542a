-- Question: what is held back?
-- Grain: one row a row of a file, in the order of imports. Reads: records.heldback.
-- Columns: batch, file, row, job, branch, reasons (column, value, reason of each fault), line.
select
  batch, file, row, any_value(job) as job, any_value(branch) as branch,
  list({"column": "column", value: value, reason: reason} order by "column", reason) as reasons,
  any_value(line) as line
from records.heldback
where cleared_by is null
group by batch, file, row
order by batch, row

-- Does: stores one row a job. Reads: sheet. Parameters: base (entry = base + row), covers, batch.
insert into records.jobs (
  entry, job, branch, finished, received, model, repair, technician, outcome, minutes, price,
  failure_cost, notes, returned, return_reason, return_of, trial, assigned, covers, batch,
  content, plan
)
select
  $base + row, job, branch, cast(finished as date), cast(received as date), model, repair,
  technician, outcome, cast(minutes as double), cast(price as double),
  cast(failure_cost as double), notes, cast(returned as date), return_reason, return_of,
  trial, assigned, coalesce(covers, $covers), $batch, content, case when contains(attempts, ' > ')
    then regexp_replace(attempts, ' > [^;]*', '', 'g') else attempts end
from sheet

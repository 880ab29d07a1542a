-- Does: notes the rows that contradict themselves, or lack what every job has.
-- Reads: sheet. Writes: faults (row, col, value, reason).
insert into faults (row, col, value, reason)
select row, 'job', null, 'the job number is blank' from sheet where job is null
union all
select row, 'job', job, 'a formula, not a value' from sheet where starts_with(job, '=')
union all
select row, 'job', job, 'has a sign that cannot be printed' from sheet where unprintable(job)
union all
select row, 'return_of', return_of, 'has a sign that cannot be printed'
from sheet where unprintable(return_of)
union all
select row, 'return_of', return_of, 'a formula, not a value'
from sheet where starts_with(return_of, '=')
union all
select row, 'finished', null, 'the date of hand-over is blank' from sheet where finished is null
union all
select row, 'model', null, 'the model is blank' from sheet where model is null
union all
select row, 'repair', null, 'the repair is blank' from sheet where repair is null
union all
select row, 'finished', finished, 'finished before it was received (' || received || ')'
from sheet
where received > finished
  and try_cast(received as date) is not null and try_cast(finished as date) is not null
union all
select row, 'returned', returned, 'came back before it was finished (' || finished || ')'
from sheet
where returned < finished
  and try_cast(returned as date) is not null and try_cast(finished as date) is not null
union all
select row, 'return_of', return_of, 'a job cannot be the come-back of itself'
from sheet where return_of = job

-- Question: how often had the technician of a job tried a step first with the same method before?
-- Grain: one row per (job, step that was done).
-- Reads: jobs, first_choices.
-- Parameters: none.
-- Columns: entry; step; method (null: not recorded); technician; uses (earlier jobs of this
--   technician with this first choice, in order of finished, of one day in order of job and
--   branch; null: method or technician not recorded); settled (true: the technician used the method within the first 90 days of the
--   records, which start in mid-career: taken as practised); band ('0-9', '10-29', '30-99',
--   'practised': settled or from 100 uses on).
create or replace temp view practice as
with
-- one row: the last day that counts as the beginning of the records
beginning as (
  select min(finished) + interval '90' day as ended
  from jobs
),
-- one row per (job, step done)
used as (
  select
    j.entry,
    c.step,
    c.method,
    j.technician,
    c.method is not null and j.technician is not null as known,
    row_number() over (
      partition by c.step, c.method, j.technician
      order by j.finished, j.job, j.branch
    ) as number,
    min(j.finished) over (partition by c.step, c.method, j.technician) as first_use
  from jobs as j
  inner join first_choices as c on c.plan = j.plan
),
-- the same where the count means something
counted as (
  select
    u.entry,
    u.step,
    u.method,
    u.technician,
    case when u.known then u.number - 1 end as uses,
    case when u.known then u.first_use < b.ended end as settled
  from used as u
  cross join beginning as b
)
select
  entry,
  step,
  method,
  technician,
  uses,
  settled,
  case
    when settled or uses >= 100 then 'practised'
    when uses >= 30 then '30-99'
    when uses >= 10 then '10-29'
    when uses >= 0 then '0-9'
  end as band
from counted

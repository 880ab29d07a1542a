-- Question: which jobs are alike in everything but number and branch?
-- Grain: one row per set of such jobs, the latest three sets only.
-- Reads: records.jobs, records.attempts, records.step_minutes, records.pieces, records.failures,
--   records.unchecked, records.preexisting, records.factors.
-- Parameters: none.
-- Columns: finished; job_a, job_b (two of the set, with branch); surplus (jobs beyond the first of each set, over
--   all sets); sets (how many there are).
with
-- one row per job with the first entry that has the same cells, and how many have; notes apart
alike as (
  select
    entry,
    case when branch is null then job else concat(job, ' (', branch, ')') end as job,
    finished,
    min(entry) over same as first_entry,
    count(*) over same as jobs
  from records.jobs
  window same as (
    partition by
      finished, model, technician, repair, outcome, received, minutes, price, failure_cost,
      returned, return_reason, return_of, trial, assigned
  )
),
-- the few that have company
several as (
  select * from alike where jobs > 1
),
-- one row per mark on these jobs, as one text
marks as (
  select
    s.entry,
    concat('a ', a.step, ' ', cast(a.attempt as varchar), ' ', coalesce(a.method, '')) as mark
  from several as s
  inner join records.attempts as a on a.entry = s.entry
  union all
  select
    s.entry,
    concat('m ', m.step, ' ', cast(m.minutes as varchar)) as mark
  from several as s
  inner join records.step_minutes as m on m.entry = s.entry
  union all
  select
    s.entry,
    concat(
      'p ', p.part, ' ', cast(p.piece as varchar), ' ', coalesce(p.grade, ''), '/',
      coalesce(p.supplier, ''), '/', coalesce(p.lot, ''), '/',
      coalesce(cast(p.cost as varchar), ''), '/', cast(p.fitted as varchar)
    ) as mark
  from several as s
  inner join records.pieces as p on p.entry = s.entry
  union all
  select
    s.entry,
    concat('f ', f.mode, ' ', f.place, ' ', cast(f.number as varchar)) as mark
  from several as s
  inner join records.failures as f on f.entry = s.entry
  union all
  select
    s.entry,
    concat('u ', u.mode) as mark
  from several as s
  inner join records.unchecked as u on u.entry = s.entry
  union all
  select
    s.entry,
    concat('b ', b.mode) as mark
  from several as s
  inner join records.preexisting as b on b.entry = s.entry
  union all
  select
    s.entry,
    concat('x ', x.factor, ' ', coalesce(x.value, '')) as mark
  from several as s
  inner join records.factors as x on x.entry = s.entry
),
-- one row per job: all its marks in one text
contents as (
  select
    entry,
    string_agg(mark, '; ' order by mark) as content
  from marks
  group by entry
),
-- one row per set of jobs with the same cells and the same marks
same_all as (
  select
    max(s.finished) as finished,
    min(s.job) as job_a,
    max(s.job) as job_b,
    count(*) - 1 as surplus
  from several as s
  left join contents as c on c.entry = s.entry
  group by s.first_entry, c.content
  having count(*) > 1
),
-- each set beside the totals, the latest first
ranked as (
  select
    finished,
    job_a,
    job_b,
    cast(sum(surplus) over () as bigint) as surplus,
    count(*) over () as sets,
    row_number() over (order by finished desc, job_a) as place
  from same_all
)
select
  finished,
  job_a,
  job_b,
  surplus,
  sets
from ranked
where place <= 3
order by place

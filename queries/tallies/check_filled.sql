-- Question: how often is each column filled in, of the jobs or pieces where it could be?
-- Grain: one row per column.
-- Reads: records.jobs, records.attempts, records.step_minutes, records.pieces, records.failures,
--   records.factors, catalogue_factors, repair_factors.
-- Parameters: none.
-- Columns: kind ('factor', 'column'); name; unit ('job', 'piece'); filled, units. A factor could be
--   filled in on jobs whose repair has it (on all jobs if no repair has it), minutes of a step where
--   the step was done, a return reason on jobs that came back, a failure cost on jobs with a failure.
with
-- one row per repair cell as recorded
cells as (
  select
    repair,
    count(*) as jobs
  from records.jobs
  group by repair
),
-- one row per (factor, repair cell) where the factor belongs
scope as (
  select distinct
    f.factor,
    c.repair,
    c.jobs
  from catalogue_factors as f
  cross join cells as c
  left join (select distinct factor from repair_factors) as h on h.factor = f.factor
  left join repair_factors as r
    on r.factor = f.factor
    and contains(concat('; ', c.repair, '; '), concat('; ', r.repair, '; '))
  where h.factor is null or r.factor is not null
),
-- one row per (factor, repair cell): jobs with a value
told as (
  select
    f.factor,
    j.repair,
    count(*) as filled
  from records.factors as f
  inner join records.jobs as j on j.entry = f.entry
  group by f.factor, j.repair
),
-- one row per factor with jobs where it belongs
of_factors as (
  select
    'factor' as kind,
    s.factor as name,
    'job' as unit,
    cast(sum(coalesce(t.filled, 0)) as bigint) as filled,
    cast(sum(s.jobs) as bigint) as units
  from scope as s
  left join told as t on t.factor = s.factor and t.repair = s.repair
  group by s.factor
),
-- one row: filled cells of the jobs' own columns
jobs_once as (
  select
    count(*) as jobs,
    count(received) as received,
    count(branch) as branch,
    count(technician) as technician,
    count(minutes) as minutes,
    count(price) as price,
    count(returned) as returned,
    count(case when returned is not null then return_reason end) as return_reason
  from records.jobs
),
-- one row: jobs with a failure, and those of them with a cost
costs_once as (
  select
    count(*) as jobs,
    count(j.failure_cost) as filled
  from (select distinct entry from records.failures) as f
  inner join records.jobs as j on j.entry = f.entry
),
-- one row per step: jobs on which it was done
done as (
  select
    step,
    count(*) as jobs
  from records.attempts
  where attempt = 1
  group by step
),
-- one row per step: jobs with its minutes
timed as (
  select
    step,
    count(*) as jobs
  from records.step_minutes
  group by step
),
-- one row per part: fitted pieces and what is known of them
fitted_once as (
  select
    part,
    count(*) as pieces,
    count(supplier) as supplier,
    count(lot) as lot,
    count(cost) as cost
  from records.pieces
  where fitted
  group by part
),
-- one row per column
of_columns as (
  select 'received' as name, 'job' as unit, received as filled, jobs as units from jobs_once
  union all
  select 'branch' as name, 'job' as unit, branch as filled, jobs as units from jobs_once
  union all
  select 'technician' as name, 'job' as unit, technician as filled, jobs as units from jobs_once
  union all
  select 'minutes' as name, 'job' as unit, minutes as filled, jobs as units from jobs_once
  union all
  select 'price' as name, 'job' as unit, price as filled, jobs as units from jobs_once
  union all
  select 'return_reason' as name, 'job' as unit, return_reason as filled, returned as units
  from jobs_once
  union all
  select 'failure_cost' as name, 'job' as unit, filled, jobs as units from costs_once
  union all
  select
    concat(d.step, '_minutes') as name,
    'job' as unit,
    coalesce(t.jobs, 0) as filled,
    d.jobs as units
  from done as d
  left join timed as t on t.step = d.step
  union all
  select concat(part, '_supplier') as name, 'piece' as unit, supplier as filled, pieces as units
  from fitted_once
  union all
  select concat(part, '_lot') as name, 'piece' as unit, lot as filled, pieces as units
  from fitted_once
  union all
  select concat(part, '_cost') as name, 'piece' as unit, cost as filled, pieces as units
  from fitted_once
),
-- factors and columns
counted as (
  select * from of_factors
  union all
  select
    'column' as kind,
    name,
    unit,
    filled,
    units
  from of_columns
)
select * from counted
where units > 0
order by kind, name

-- Question: which codes do the records hold that the catalogue does not have (any more)?
-- Grain: one row per (kind, code).
-- Reads: records.jobs, records.attempts, records.pieces, records.failures, records.unchecked,
--   records.preexisting, records.factors, repairs, steps, methods, parts, grades, modes,
--   catalogue_factors, factor_values.
-- Parameters: none.
-- Columns: kind ('repair', 'step', 'method', 'part', 'grade', 'failure mode', 'factor', 'value',
--   'return reason'); code (a method or value after its step or factor; of a repair, all of the
--   job's codes); jobs (that hold it).
with
-- one row per repair cell as recorded, with its number of codes
cells as (
  select
    repair,
    length(repair) - length(replace(repair, ';', '')) + 1 as named,
    count(*) as jobs
  from records.jobs
  group by repair
),
-- one row per repair cell that names a repair the catalogue lacks
of_repairs as (
  select
    'repair' as kind,
    c.repair as code,
    max(c.jobs) as jobs
  from cells as c
  left join repairs as r
    on contains(concat('; ', c.repair, '; '), concat('; ', r.repair, '; '))
  group by c.repair, c.named
  having count(r.repair) < c.named
),
-- one row per (kind, code, job): everything else, few
others as (
  select
    'step' as kind,
    a.step as code,
    a.entry
  from records.attempts as a
  left join steps as s on s.step = a.step
  where s.step is null
  union all
  select
    'method' as kind,
    concat(a.step, ' ', a.method) as code,
    a.entry
  from records.attempts as a
  inner join steps as s on s.step = a.step
  left join methods as m on m.step = a.step and m.method = a.method
  where a.method is not null and m.method is null
  union all
  select
    'part' as kind,
    p.part as code,
    p.entry
  from records.pieces as p
  left join parts as k on k.part = p.part
  where k.part is null
  union all
  select
    'grade' as kind,
    p.grade as code,
    p.entry
  from records.pieces as p
  left join grades as g on g.grade = p.grade
  where p.grade is not null and g.grade is null
  union all
  select
    'failure mode' as kind,
    f.mode as code,
    f.entry
  from (
    select entry, mode from records.failures
    union all
    select entry, mode from records.unchecked where mode <> '*'
    union all
    select entry, mode from records.preexisting
  ) as f
  left join modes as m on m.mode = f.mode
  where m.mode is null
  union all
  select
    'factor' as kind,
    f.factor as code,
    f.entry
  from records.factors as f
  left join catalogue_factors as c on c.factor = f.factor
  where c.factor is null
  union all
  select
    'value' as kind,
    concat(f.factor, ' ', f.value) as code,
    f.entry
  from records.factors as f
  inner join catalogue_factors as c on c.factor = f.factor and c.kind = 'category'
  left join factor_values as v on v.factor = f.factor and v.value = f.value
  where v.value is null
  union all
  select
    'return reason' as kind,
    j.return_reason as code,
    j.entry
  from records.jobs as j
  left join modes as m on m.mode = j.return_reason
  where j.return_reason is not null and j.return_reason <> 'unrelated' and m.mode is null
),
-- one row per (kind, code)
counted as (
  select * from of_repairs
  union all
  select
    kind,
    code,
    count(distinct entry) as jobs
  from others
  group by kind, code
)
select * from counted
order by jobs desc, kind, code

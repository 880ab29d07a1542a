-- Question: which jobs are watched, and what was in the device?
-- Grain: one row per job asked about.
-- Reads: asked_jobs, first_grades, records.factors.
-- Parameters: since (first watched day). It becomes the temporary table watched_asked.
-- Columns: entry; standing (plan, as in asked_jobs; '': none); things (in one text: the first piece of
--   each part by its grade; whether the device had no repair before); covers; model; month (202603),
--   quarter (20261): numbers are gathered faster than texts; technician; finished; watched (true: from
--   since on; false: of the time before).
-- Two orders of the same things are two texts: two kinds of job are made of one, which does no harm.
create or replace temp table watched_asked as
with
-- one row per thing that can be in a device, with a number: short texts are gathered faster
numbered as (
  select
    part,
    grade,
    fitted,
    cast(row_number() over (order by part, grade, fitted) as varchar) as thing
  from (select distinct part, grade, fitted from first_grades) as things
),
-- one row per job with any piece
beside as (
  select
    f.entry,
    string_agg(n.thing, ',') as things
  from first_grades as f
  inner join numbered as n
    on n.part = f.part and n.grade is not distinct from f.grade and n.fitted = f.fitted
  group by f.entry
),
-- one row per job whose device had no repair before
untouched as (
  select entry
  from records.factors
  where factor = 'prior_repair' and value = 'no'
),
-- one row per job
described as (
  select
    j.entry,
    coalesce(j.standing, '') as standing,
    concat(coalesce(b.things, ''), case when u.entry is null then '' else ';' end) as things,
    j.covers,
    j.model,
    100 * year(j.finished) + month(j.finished) as month,
    10 * year(j.finished) + quarter(j.finished) as quarter,
    j.technician,
    j.finished,
    j.finished >= $since as watched
  from asked_jobs as j
  left join beside as b on b.entry = j.entry
  left join untouched as u on u.entry = j.entry
)
select * from described

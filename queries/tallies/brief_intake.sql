-- Question: how often was something already broken when a device came in for one repair?
-- Grain: one row per (mode that was ever there at intake of that repair, model).
-- Reads: jobs, flags, records.covers.
-- Parameters: repair (jobs that were asked for it, alone or with others; no come-backs).
-- Columns: mode; model; there (jobs: it was there at intake); looked_for (jobs whose sheet covers
--   the mode and on which it was looked for: a blank record says that nothing was there).
with
-- one row per job
asked as (
  select
    entry,
    covers,
    model
  from jobs
  where rework = 'no' and contains(concat('; ', repair, '; '), concat('; ', $repair, '; '))
),
-- modes that were ever there at intake
met as (
  select distinct f.mode
  from flags as f
  inner join asked as a on a.entry = f.entry
  where f.preexisting
),
-- one row per (mode, job) that can speak of it
judged as (
  select
    m.mode,
    a.model,
    coalesce(f.preexisting, false) as there
  from asked as a
  inner join records.covers as c on c.covers = a.covers
  inner join met as m on m.mode = c.mode
  left join flags as f on f.entry = a.entry and f.mode = m.mode
  where not coalesce(f.unchecked, false)
),
-- one row per (mode, model)
counted as (
  select
    mode,
    model,
    sum(case when there then 1 else 0 end) as there,
    count(*) as looked_for
  from judged
  group by mode, model
)
select * from counted

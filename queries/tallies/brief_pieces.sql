-- Question: how often did a job of one repair need another piece of a part?
-- Grain: one row per (part, model).
-- Reads: jobs, pieces.
-- Parameters: repair (jobs that were asked for it, alone or with others; no come-backs).
-- Columns: part; model; jobs (on which a piece was fitted); again (of these, jobs on which a second
--   one was).
with
-- one row per (job, part fitted)
fitted as (
  select
    j.model,
    p.part,
    count(*) as fitted
  from jobs as j
  inner join pieces as p on p.entry = j.entry
  where
    p.fitted
    and j.rework = 'no'
    and contains(concat('; ', j.repair, '; '), concat('; ', $repair, '; '))
  group by j.entry, j.model, p.part
),
-- one row per (part, model)
counted as (
  select
    part,
    model,
    count(*) as jobs,
    sum(case when fitted > 1 then 1 else 0 end) as again
  from fitted
  group by part, model
)
select * from counted

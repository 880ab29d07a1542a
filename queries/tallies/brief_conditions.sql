-- Question: in which state do devices come in for one repair?
-- Grain: one row per (factor, model, value).
-- Reads: jobs, factors.
-- Parameters: repair (jobs that were asked for it, alone or with others; no come-backs).
-- Columns: factor; model; value (of a number: its band); jobs (on which it was recorded).
select
  f.factor,
  j.model,
  f.band as value,
  count(*) as jobs
from jobs as j
inner join factors as f on f.entry = j.entry
where j.rework = 'no' and contains(concat('; ', j.repair, '; '), concat('; ', $repair, '; '))
group by f.factor, j.model, f.band

-- Question: how many jobs of a trial are recorded otherwise than they were drawn?
-- Grain: one row per kind of contradiction.
-- Reads: trial_drawn.
-- Parameters: trial (its name).
-- Columns: contradiction (as in trial_drawn); jobs.
select
  contradiction,
  count(*) as jobs
from trial_drawn
where trial = $trial and contradiction is not null
group by contradiction
order by contradiction

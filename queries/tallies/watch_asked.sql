-- Question: which jobs are asked about, once they lie in a table?
-- Grain: one row per job asked about.
-- Reads: watched_jobs, asked_plans.
-- Parameters: none. It becomes asked_jobs, which the counting statements read: with every family the
--   plans that come to the same change, and the jobs do not.
-- Columns: those of watched_jobs; standing (the plan that stands for it, see asked_plans).
create or replace temp view asked_jobs as
select
  j.*,
  p.standing
from watched_jobs as j
left join asked_plans as p on p.plan = j.plan

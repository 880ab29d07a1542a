-- Question: which jobs are asked about, and what are their keys?
-- Grain: one row per job asked about.
-- Reads: jobs, asked_plans, first_pieces, factors and other views of keys, asked_values.
-- Parameters: none; slots: keys (columns named as keys), joins (one per key that neither jobs nor
--   plans carry), filters (conditions on keys and dates; their values lie in asked_values).
-- Columns: entry; plan; standing (the plan that stands for it, see asked_plans); covers; cluster
--   (technician); the keys.
create or replace temp view asked_jobs as
with
-- one row per job with its keys
keyed as (
  select
    j.entry,
    j.plan,
    p.standing,
    j.covers,
    j.technician as cluster,
    /*keys*/
    j.finished
  from jobs as j
  left join asked_plans as p on p.plan = j.plan
  /*joins*/
)
select * from keyed
where true /*filters*/

-- Question: which jobs are asked about, and what are their keys?
-- Grain: one row per job asked about.
-- Reads: jobs, first_choices, first_pieces, factors, asked_values.
-- Parameters: none; slots: keys (columns named as keys), joins (one per key that is not a column of
--   jobs), filters (conditions on keys and dates; their values lie in asked_values).
-- Columns: entry; plan; covers; cluster (technician); the keys.
create or replace temp view asked_jobs as
with
-- one row per job with its keys
keyed as (
  select
    j.entry,
    j.plan,
    j.covers,
    j.technician as cluster,
    /*keys*/
    j.finished
  from jobs as j
  /*joins*/
)
select * from keyed
where true /*filters*/

-- Question: which completed jobs are asked about, with which keys, and how were they followed?
-- Grain: one row per completed job asked about.
-- Reads: followups, last_pieces, first_choices, factors and other views of keys, asked_values.
-- Parameters: none; slots: keys (columns named as keys), joins (one per key that is not a column of
--   followups), filters (conditions on keys and dates; their values lie in asked_values).
-- Columns: the keys; finished; reason, days_back, days_watched (as in followups).
create or replace temp view asked_followups as
with
-- one row per completed job with its keys
keyed as (
  select
    /*keys*/
    j.finished,
    j.reason,
    j.days_back,
    j.days_watched
  from followups as j
  /*joins*/
)
select * from keyed
where true /*filters*/

-- Question: how many jobs chose each option under which conditions?
-- Grain: one row per (option, model, keys, late).
-- Reads: decide_chosen.
-- Parameters: left_out (jobs of each model that count as late); slot: keys.
-- Columns: option, model, the keys (codes of decide_words); late (among the last jobs of its model); jobs.
select
  option_code as option,
  model_code as model,
  /*keys*/
  latest <= $left_out as late,
  count(*) as jobs
from decide_chosen
group by all

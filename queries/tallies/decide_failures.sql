-- Question: how often did each mode follow from this choice, under which conditions?
-- Grain: one row per (mode, option, model, keys, late) with failures.
-- Reads: decide_modes, decide_chosen.
-- Parameters: left_out; slot: keys.
-- Columns: mode; option, model, the keys (codes of decide_words); late; failures (jobs).
select
  m.mode,
  c.option_code as option,
  c.model_code as model,
  /*keys*/
  c.latest <= $left_out as late,
  count(*) as failures
from decide_modes as m
inner join decide_chosen as c on c.entry = m.entry
where m.failed
group by all

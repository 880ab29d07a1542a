-- Question: which targets at steps does each plan (set of first choices) meet?
-- Grain: one row per (target at steps, plan in which any of its steps was done).
-- Reads: targets, target_places, first_choices.
-- Parameters: none. A table, made once a session: many views read these few rows.
-- Columns: target; plan.
create or replace temp table step_targets as
select distinct
  t.target,
  c.plan
from targets as t
inner join target_places as p on p.target = t.target
inner join first_choices as c on c.step = p.place
where t.kind = 'steps' and not t.limited

-- Question: which job of this model, repair and technician was the last?
-- Grain: one row, none if there is no such job. Reads: records.jobs, aliases.
-- Parameters: model, repair, technician (null: not named). Columns: entry.
-- By arg_max: DuckDB 2.0.1 loses a "limit 1" behind these left joins.
create or replace temp table wanted as
with
-- one row a job, its names as they are shown
shown as (
  select
    j.entry, j.finished, j.repair,
    coalesce(m.shown, j.model) as model,
    coalesce(t.shown, j.technician) as technician
  from records.jobs as j
  left join aliases as m on m.kind = 'model' and m.folded = fold_name(j.model)
  left join aliases as t on t.kind = 'technician' and t.folded = fold_name(j.technician)
)
select arg_max(entry, (finished, entry)) as entry
from shown
where fold_name(model) = fold_name($model)
  and repair = $repair
  and fold_name(technician) is not distinct from fold_name($technician)
having count(*) > 0

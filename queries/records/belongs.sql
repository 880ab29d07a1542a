-- Question: which steps and parts belong to the repairs of a job?
-- Grain: one row a different cell of the column repair. Reads: met, repair_steps, repair_parts.
-- Columns: repair, and one flag a step and a part (slot flags).
create or replace temp table belongs as
with
-- one row a repair of a cell
named as (
  select cell as repair, unnest(string_split(cell, '; ')) as code from met where col = 'repair'
),
-- one row a step or part of it
placed as (
  select n.repair, s.step as place from named as n join repair_steps as s on s.repair = n.code
  union all
  select n.repair, p.part from named as n join repair_parts as p on p.repair = n.code
)
select n.repair, /*flags*/
from (select distinct repair from named) as n
left join placed as p on p.repair = n.repair
group by n.repair

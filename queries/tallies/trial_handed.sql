-- Question: which options of a trial were handed out?
-- Grain: one row per option.
-- Reads: records.assignments.
-- Parameters: trial (its name).
-- Columns: assigned (option); handed_out (slots).
select
  assigned,
  count(*) as handed_out
from records.assignments
where trial = $trial and handed_out is not null
group by assigned
order by assigned

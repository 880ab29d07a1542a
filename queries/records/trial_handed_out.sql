-- Question: how many slots of a trial are handed out?
-- Grain: one row. Parameters: trial. Columns: handed_out.
select count(handed_out) as handed_out
from records.assignments
where trial = $trial

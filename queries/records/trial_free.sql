-- Question: which slot of a stratum comes next, and how many were drawn?
-- Grain: one row. Parameters: trial, technician, model_group. Columns: free (null: none); drawn.
select min(case when handed_out is null then slot end) as free, count(*) as drawn
from records.assignments
where trial = $trial and technician = $technician and model_group = $model_group

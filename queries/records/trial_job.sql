-- Question: which slot was handed out for this job?
-- Grain: one row, none if none was. Parameters: trial, job. Columns: those of the slot, then model.
select technician, model_group, slot, block, assigned, model
from records.assignments
where trial = $trial and job = $job

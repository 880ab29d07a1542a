-- Question: what does this slot say?
-- Grain: one row. Parameters: trial, technician, model_group, slot. Columns: those of the slot.
select technician, model_group, slot, block, assigned
from records.assignments
where trial = $trial and technician = $technician and model_group = $model_group and slot = $slot

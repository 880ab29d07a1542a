-- Does: hands out a slot. Parameters: trial, technician, model_group, slot; moment, day,
-- model, job.
update records.assignments
set handed_out = $moment::timestamp, day = $day::date, model = $model, job = $job
where trial = $trial and technician = $technician and model_group = $model_group and slot = $slot

-- Does: stores that a device is kept out of a trial. Parameters: trial, technician, model, job, reason,
-- moment.
insert into records.exclusions
select $trial, $technician, $model, $job, $reason, $moment::timestamp

-- Question: where could each target that is no step have failed, seen by the first choice?
-- Grain: one row per (target of parts or of mixed parts, unit). A unit is the first fitted piece of
--   a part on a job, or (mixed parts) the job.
-- Reads: part_units, mixed_units.
-- Parameters: none.
-- Columns: target; entry; place (part, else ''); number (0); option (null); maybe (true: not
--   known whether it could have failed).
create or replace temp view units_beside_steps as
select * from part_units
union all
select * from mixed_units

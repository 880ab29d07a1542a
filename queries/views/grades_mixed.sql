-- Question: do grades of different origin meet in the device of a job?
-- Grain: one row per job on which a part has a piece that can conflict with another part.
-- Reads: device_grades.
-- Parameters: none.
-- Columns: entry; mixed ('yes': two known origins differ; 'no': all are known and none differs;
--   null: not known). Parts are those that the modes of mixed parts name, the first piece of each.
create or replace temp view grades_mixed as
with
-- one row per job: a part that several modes name is there several times, which changes nothing
met as (
  select
    entry,
    count(*) as named,
    count(origin) as known,
    min(origin) as one_origin,
    max(origin) as other_origin
  from device_grades
  group by entry
)
select
  entry,
  case when one_origin <> other_origin then 'yes' when known = named then 'no' end as mixed
from met

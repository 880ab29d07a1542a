-- Does: stores one row a failure seen. Reads: sheet, sightings. Parameter: base.
insert into records.failures
select $base + s.row, g.mode, g.place, g.number
from sheet as s
join sightings as g on g.failures = s.failures

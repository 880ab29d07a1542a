-- Question: which failure modes occur in the accepted rows of the sheet?
-- Grain: one row a mode. Reads: sheet, sightings. Columns: mode.
select distinct g.mode
from (select distinct failures from sheet where failures is not null) as s
join sightings as g on g.failures = s.failures
order by g.mode

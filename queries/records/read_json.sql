-- Does: reads JSON lines as text, the order of lines kept.
-- Grain: one row a line. Parameters: path, key0, key1, .. (a JSON path for each column wanted).
-- Slot: columns (one expression for each of these).
create or replace temp table raw_sheet as
select /*columns*/
from read_ndjson_objects($path)

-- Does: reads a Parquet file as text, the order of rows kept.
-- Grain: one row a row of the file. Parameter: path. Slots: aliases (c0, c1, .. for every column
--   of the file), columns (those wanted).
create or replace temp table raw_sheet as
select /*columns*/
from read_parquet($path) as file(/*aliases*/)

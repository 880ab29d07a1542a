-- Question: what does each different cell of failures say?
-- Grain: one row a cell and sighting. Reads: met.
-- Columns: failures, mode, place ('' where it does not say), number (0 likewise).
create or replace temp table sightings as
with
-- one row an element
split as (
  select cell as failures, unnest(string_split(cell, '; ')) as element
  from met where col = 'failures' and cell <> 'none'
),
-- with what follows the @
parted as (
  select
    failures, split_part(element, '@', 1) as mode, split_part(element, '@', 2) as detail
  from split
)
select
  failures, mode,
  case when regexp_full_match(detail, '\d+') then '' else regexp_replace(detail, '\.\d+$', '') end as place,
  coalesce(try_cast(regexp_extract(detail, '(?:^|\.)(\d+)$', 1) as smallint), 0) as number
from parted

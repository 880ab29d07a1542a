-- Question: how often did each mode and family go wrong, out of how many opportunities?
-- Grain: one row per (mode or family, keys).
-- Reads: the rows of watch_rows (slot rows).
-- Parameters: none; slots: keys, rows.
-- Columns: subject (number of the mode or family); the keys; failures, opportunities, unknown (units;
--   of a family jobs).
select
  subject,
  /*keys*/
  cast(sum(failures) as bigint) as failures,
  cast(sum(opportunities) as bigint) as opportunities,
  cast(sum(unknown) as bigint) as unknown
from (/*rows*/) as both_parts
group by all

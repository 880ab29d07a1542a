-- Question: which units does the fit of a condition read, grouped by the keys it asks for?
-- Grain: one row per keys.
-- Reads: asked_read (temporary table: the units that are read, by all keys), asked_levels (by the
--   slot filters: the values of a condition that count).
-- Parameters: none; slots: keys (quoted names of columns of asked_read, a comma after each),
--   filters (which units count).
-- Columns: the keys; failures, others (units that are read).
select
  /*keys*/
  sum(failures) as failures,
  sum(others) as others
from asked_read
where failures + others > 0 /*filters*/
group by all

-- Question: how many units had each value of a condition, and on how many did the mode occur?
-- Grain: one row per value; null where it was not recorded.
-- Reads: asked_cells (temporary table: the counts of a mode by all keys asked for).
-- Parameters: none; slot: key (quoted name of a column of asked_cells).
-- Columns: level; failures, opportunities, unknown (units).
select
  /*key*/ as level,
  cast(sum(failures) as bigint) as failures,
  cast(sum(opportunities) as bigint) as opportunities,
  cast(sum(unknown) as bigint) as unknown
from asked_cells
group by all
order by level

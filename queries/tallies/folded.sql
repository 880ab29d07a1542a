-- Question: what do counts by technician come to in all, and how much do technicians differ?
-- Grain: one row per keys (mode among them where the rows have it) with opportunities or unknown units.
-- Reads: the rows of modes, union or pairs (slot rows).
-- Parameters: none; slots: rows, keys.
-- Columns: the keys; failures, opportunities, unknown,
--   unknown_failed (units); clusters (technicians with opportunities); ff, fn, nn (sums over
--   technicians of failures squared, failures times opportunities, opportunities squared), for the
--   effect of clustering.
with
-- one row per (keys, technician)
by_cluster as (
  /*rows*/
),
-- one row per keys
counted as (
  select
    /*keys*/
    cast(sum(failures) as bigint) as failures,
    cast(sum(opportunities) as bigint) as opportunities,
    cast(sum(unknown) as bigint) as unknown,
    cast(sum(unknown_failed) as bigint) as unknown_failed,
    count(case when opportunities > 0 then 1 end) as clusters,
    cast(sum(failures * failures) as double) as ff,
    cast(sum(failures * opportunities) as double) as fn,
    cast(sum(opportunities * opportunities) as double) as nn
  from by_cluster
  group by all
)
select * from counted
where opportunities > 0 or unknown > 0

-- Question: which units do the fits of a mode's conditions read?
-- Grain: one row per keys with a unit that is read.
-- Reads: asked_cells (temporary table: the counts of a mode by all keys).
-- Parameters: most (number): most failures, and most other units, to read; slot: keys (quoted names
--   of the key columns of asked_cells, a comma after each).
-- Columns: the keys; failures, others (units that are read); all_failures, all_others (units
--   there are, the same on every row).
-- Where there are more than most, every so-manieth failure in the order of the keys is read, and of
-- the others likewise: spread evenly over the keys, and the same ones each time.
with
-- one row per keys, with how many came up to here, and how many there are
running as (
  select
    /*keys*/
    failures,
    opportunities - failures as others,
    cast(sum(failures) over (order by /*keys*/ failures) as bigint) as failed_here,
    cast(sum(opportunities - failures) over (order by /*keys*/ failures) as bigint) as others_here,
    cast(sum(failures) over () as bigint) as all_failures,
    cast(sum(opportunities - failures) over () as bigint) as all_others
  from asked_cells
  where opportunities > 0
),
-- which share of them is read
shares as (
  select
    *,
    case when all_failures > $most then $most / all_failures else 1.0 end as of_failures,
    case when all_others > $most then $most / all_others else 1.0 end as of_others
  from running
),
-- the units that are read
thinned as (
  select
    /*keys*/
    floor(failed_here * of_failures) - floor((failed_here - failures) * of_failures) as failures,
    floor(others_here * of_others) - floor((others_here - others) * of_others) as others,
    all_failures,
    all_others
  from shares
)
select * from thinned where failures + others > 0

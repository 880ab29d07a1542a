-- Question: what was recorded of each job beside methods and parts?
-- Grain: one row per (job, factor recorded).
-- Reads: records.factors, factor_bands.
-- Parameters: none.
-- Columns: entry; factor; value (text as recorded); number (of number factors, in the factor's own
--   unit); band (the band of a number, else the value): what results group by.
create or replace temp view factors as
select
  f.entry,
  f.factor,
  f.value,
  f.number,
  coalesce(b.band, f.value) as band
from records.factors as f
left join factor_bands as b
  on b.factor = f.factor
  and (b.low is null or f.number >= b.low)
  and (b.high is null or f.number < b.high)

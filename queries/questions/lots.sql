-- Question: is one lot of a supplier's parts worse than the others?
-- Grain: one row per (mode of a part, part, supplier, lot) of pieces fitted. With many lots one
--   looks bad by chance alone: compare intervals, not the top row.
-- Reads: outcomes_attempted, modes, pieces, jobs.
-- Parameters:
--   supplier (supplier, any): only this supplier
--   part (part, any): only this part
--   mode (mode, any): only this failure mode of parts
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   mode (code): failure mode of the part
--   part (code): kind of part
--   supplier (name): null where it was not recorded
--   lot (name): null where it was not recorded
--   first_fitted (date): finished of the first job with a piece of it
--   last_fitted (date): finished of the last one
--   failures (pieces): the mode was seen on the piece
--   opportunities (pieces): fitted, the mode looked for
--   unknown (pieces): the mode not looked for, or the record does not say which piece
--   unknown_failed (pieces): of the unknown, those where it was seen
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
-- Notes:
--   many lots are compared at once, so that some look bad by chance alone: compare intervals, and
--     ask again once a suspected lot has more pieces
with
-- one row per (mode, piece fitted)
judged as (
  select
    o.mode,
    m.position,
    p.part,
    p.supplier,
    p.lot,
    j.finished,
    o.state
  from modes as m
  inner join outcomes_attempted as o on o.mode = m.mode
  inner join pieces as p on p.entry = o.entry and p.part = o.place and p.piece = o.number
  inner join jobs as j on j.entry = o.entry
  where
    m.kind = 'part'
    and ($mode is null or o.mode = $mode)
    and ($part is null or p.part = $part)
    and ($supplier is null or p.supplier = $supplier)
),
-- one row per (mode, part, supplier, lot)
counted as (
  select
    mode,
    position,
    part,
    supplier,
    lot,
    min(finished) as first_fitted,
    max(finished) as last_fitted,
    count(*) filter (where state = 'failed') as failures,
    count(*) filter (where state in ('failed', 'fine')) as opportunities,
    count(*) filter (where state in ('unknown', 'unknown_failed')) as unknown,
    count(*) filter (where state = 'unknown_failed') as unknown_failed
  from judged
  group by mode, position, part, supplier, lot
),
-- the same with rates, in the catalogue's order of modes
rated as (
  select
    * exclude (position),
    failures / nullif(opportunities, 0) as rate,
    wilson_low(failures, opportunities, $z) as low,
    wilson_high(failures, opportunities, $z) as high,
    case when failures = 0 then 1 - power(1 - $level, 1 / nullif(opportunities, 0)) end as at_most
  from counted
  order by position, part, supplier nulls last, lot nulls last
)
select * from rated

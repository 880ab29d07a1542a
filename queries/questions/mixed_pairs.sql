-- Question: which grades of two parts disagree when they meet in one device?
-- Grain: one row per (mode, pair of parts with their grades). Rows overlap: a job with three parts
--   has up to three pairs, and a conflict seen counts for each that differs. Never add them up.
-- Reads: mixed_pairs, jobs.
-- Parameters:
--   mode (mode, any): only this conflict
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   mode (code): conflict of mixed parts
--   part_a (code): the part that stands first in the catalogue
--   grade_a (code): its grade; null where it is not known
--   part_b (code): the other part
--   grade_b (code): its grade; null where it is not known
--   failures (pairs): the conflict was seen on the job
--   opportunities (pairs): grades known and of different origin, the conflict looked for
--   unknown (pairs): a grade not known, or nobody looked
--   unknown_failed (pairs): of the unknown, those where the conflict was seen all the same
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
-- Notes:
--   rows overlap: one job stands in several pairs and its conflict counts for each, so never add
--     them up
with
-- one row per (mode, pair)
counted as (
  select
    p.mode,
    p.part_a,
    p.grade_a,
    p.part_b,
    p.grade_b,
    count(*) filter (where p.seen = 1 and p.doubt = 0) as failures,
    count(*) filter (where p.doubt = 0) as opportunities,
    count(*) filter (where p.doubt = 1) as unknown,
    count(*) filter (where p.doubt = 1 and p.seen = 1) as unknown_failed
  from mixed_pairs as p
  inner join jobs as j on j.entry = p.entry
  where
    ($mode is null or p.mode = $mode)
    and ($model is null or j.model = $model)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
  group by p.mode, p.part_a, p.grade_a, p.part_b, p.grade_b
),
-- the same with rates
rated as (
  select
    *,
    failures / nullif(opportunities, 0) as rate,
    wilson_low(failures, opportunities, $z) as low,
    wilson_high(failures, opportunities, $z) as high,
    case when failures = 0 then 1 - power(1 - $level, 1 / nullif(opportunities, 0)) end as at_most
  from counted
)
select * from rated order by mode, part_a, part_b, grade_a nulls last, grade_b nulls last

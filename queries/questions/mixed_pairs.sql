-- Question: which grades of two parts disagree when they meet in one device?
-- Grain: one row per (mode, pair of parts with their grades). Rows overlap: a job with three parts
--   has up to three pairs, and a conflict seen counts for each that differs. Never add them up.
-- Reads: device_grades, jobs, flags, records.covers.
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
-- one row per (mode, job, pair of named parts) whose grades differ in origin or are not known
paired as (
  select
    a.mode,
    a.entry,
    a.part as part_a,
    a.grade as grade_a,
    b.part as part_b,
    b.grade as grade_b,
    a.origin is null or b.origin is null as maybe
  from device_grades as a
  inner join device_grades as b
    on b.mode = a.mode and b.entry = a.entry and b.position > a.position
  where
    ($mode is null or a.mode = $mode)
    and (a.origin is null or b.origin is null or a.origin <> b.origin)
),
-- the same with what the records say, conflicts already there at intake left out
judged as (
  select
    p.mode,
    p.part_a,
    p.grade_a,
    p.part_b,
    p.grade_b,
    p.maybe or c.mode is null or coalesce(f.unchecked, false) as doubt,
    coalesce(f.seen, false) as seen
  from paired as p
  inner join jobs as j on j.entry = p.entry
  left join records.covers as c on c.covers = j.covers and c.mode = p.mode
  left join flags as f on f.entry = p.entry and f.mode = p.mode
  where
    not coalesce(f.preexisting, false)
    and ($model is null or j.model = $model)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
),
-- one row per (mode, pair)
counted as (
  select
    mode,
    part_a,
    grade_a,
    part_b,
    grade_b,
    count(*) filter (where seen and not doubt) as failures,
    count(*) filter (where not doubt) as opportunities,
    count(*) filter (where doubt) as unknown,
    count(*) filter (where doubt and seen) as unknown_failed
  from judged
  group by mode, part_a, grade_a, part_b, grade_b
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

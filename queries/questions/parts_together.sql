-- Question: is calibration refused more often when several parts were fitted at once?
-- Grain: one row per set of parts fitted on a job.
-- Reads: outcomes_first, jobs, first_pieces, parts.
-- Parameters:
--   mode (mode, calibration_refused): the failure mode to set against the parts
--   model (model, any): only this device model
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   parts (codes): fitted together, joined with ' + '; '-' where none was
--   fitted (parts): how many kinds of part
--   failures (jobs): the mode was seen
--   opportunities (jobs): it could have occurred and was looked for
--   unknown (jobs): it was not looked for; in neither number before
--   unknown_failed (jobs): of the unknown, those where it was seen all the same
--   rate (fraction): failures of opportunities
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where failures is 0, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / opportunities); else null
with
-- one row per job with a part fitted
sets as (
  select
    f.entry,
    string_agg(f.part, ' + ' order by p.position) as parts,
    count(*) as fitted
  from first_pieces as f
  inner join parts as p on p.part = f.part
  group by f.entry
),
-- one row per (job on which the mode could occur, its units)
judged as (
  select
    o.entry,
    coalesce(s.parts, '-') as parts,
    coalesce(s.fitted, 0) as fitted,
    bool_or(o.state in ('unknown', 'unknown_failed')) as doubt,
    bool_or(o.state in ('failed', 'unknown_failed')) as seen
  from outcomes_first as o
  inner join jobs as j on j.entry = o.entry
  left join sets as s on s.entry = o.entry
  where
    o.mode = $mode
    and ($model is null or j.model = $model)
    and ($since is null or j.finished >= $since)
    and ($until is null or j.finished <= $until)
  group by o.entry, s.parts, s.fitted
),
-- one row per set of parts
counted as (
  select
    parts,
    fitted,
    count(*) filter (where seen and not doubt) as failures,
    count(*) filter (where not doubt) as opportunities,
    count(*) filter (where doubt) as unknown,
    count(*) filter (where doubt and seen) as unknown_failed
  from judged
  group by parts, fitted
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
select * from rated order by fitted, parts

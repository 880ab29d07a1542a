-- Question: what is already broken when devices come in, so that the bench is not blamed for it?
-- Grain: one row per (failure mode seen at intake, device model on which it was seen).
-- Reads: jobs, flags, modes, records.covers.
-- Parameters:
--   mode (mode, any): only this failure mode
--   since (date, any): first day of finished
--   until (date, any): last day of finished
--   confidence_level (level, shop): two-sided for low and high, one-sided for at_most; the
--     statement takes it as $level and its normal quantile as $z
-- Columns:
--   mode (code): failure mode
--   model (name): device model
--   there (jobs): it was there at intake; no failure of the workshop
--   looked_for (jobs): jobs of the model whose sheet covers the mode and on which it was looked
--     for; a blank record says that nothing was there
--   rate (fraction): there of looked_for
--   low (fraction): lower end of the Wilson interval
--   high (fraction): upper end of the Wilson interval
--   at_most (fraction): where nothing was there, the exact one-sided upper limit at the
--     confidence_level, 1 - (1 - level) ^ (1 / looked_for); else null, and so null throughout
--     while only what was seen is listed
with
-- one row per job
asked as (
  select
    entry,
    covers,
    model
  from jobs
  where ($since is null or finished >= $since) and ($until is null or finished <= $until)
),
-- modes that were ever there at intake
met as (
  select distinct
    m.mode,
    m.position
  from modes as m
  inner join flags as f on f.mode = m.mode and f.preexisting
  where $mode is null or m.mode = $mode
),
-- one row per (mode, job) that can speak of it
judged as (
  select
    m.mode,
    m.position,
    a.model,
    coalesce(f.preexisting, false) as there
  from asked as a
  inner join records.covers as c on c.covers = a.covers
  inner join met as m on m.mode = c.mode
  left join flags as f on f.entry = a.entry and f.mode = m.mode
  where not coalesce(f.unchecked, false)
),
-- one row per (mode, model)
counted as (
  select
    mode,
    position,
    model,
    count(*) filter (where there) as there,
    count(*) as looked_for
  from judged
  group by mode, position, model
),
-- the same with rates, in the catalogue's order of modes
rated as (
  select
    mode,
    model,
    there,
    looked_for,
    there / looked_for as rate,
    wilson_low(there, looked_for, $z) as low,
    wilson_high(there, looked_for, $z) as high,
    case when there = 0 then 1 - power(1 - $level, 1 / nullif(looked_for, 0)) end as at_most
  from counted
  where there > 0
  order by position, model
)
select * from rated

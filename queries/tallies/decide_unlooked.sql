-- Question: on how many jobs with this choice can nothing be said of a mode?
-- Grain: one row per (mode, option) with such jobs.
-- Reads: decide_chosen, decide_modes, asked_codes (the modes), modes, decide_mixed_units,
--   records.covers.
-- Parameters: none.
-- Columns: mode; option; jobs (nobody looked for it, or it was there at intake; for modes of mixed
--   parts, also those on which it is not known whether parts are mixed).
with
-- modes that nobody looked for, by covers; few rows
uncovered as (
  select
    g.option,
    g.covers,
    g.jobs,
    m.mode,
    m.kind,
    m.target_first as target
  from (select option, covers, count(*) as jobs from decide_chosen group by option, covers) as g
  cross join asked_codes as a
  inner join modes as m on m.mode = a.mode
  left join records.covers as v on v.covers = g.covers and v.mode = m.mode
  where v.mode is null
),
-- modes of mixed parts: only jobs with parts that may differ are in doubt
mixed as (
  select
    m.mode,
    c.option,
    count(*) as jobs
  from asked_codes as a
  inner join modes as m on m.mode = a.mode
  inner join decide_mixed_units as u on u.target = m.target_first
  inner join decide_chosen as c on c.entry = u.entry
  left join records.covers as v on v.covers = c.covers and v.mode = m.mode
  where m.kind = 'mixed' and (u.maybe or v.mode is null)
  group by m.mode, c.option
),
-- all reasons under each other; a job has one of them
doubted as (
  select mode, option, jobs from uncovered where kind <> 'mixed'
  union all
  select mode, option, jobs from mixed
  union all
  select
    d.mode,
    c.option,
    count(*) as jobs
  from decide_modes as d
  inner join decide_chosen as c on c.entry = d.entry
  where d.unlooked
  group by d.mode, c.option
)
select
  mode,
  option,
  cast(sum(jobs) as bigint) as jobs
from doubted
group by mode, option

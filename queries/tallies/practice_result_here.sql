-- Question: what came of each job on which any of the modes asked for could happen, where all of
--   them can happen at the step asked about?
-- Grain: one row per job on which the step was done and any of the modes applied.
-- Reads: asked_modes, asked_jobs, jobs, first_choices, flags, records.covers.
-- Parameters: step (code).
-- Columns: entry; doubt (1: not every mode that applied was looked for); seen (1: any was seen).
-- Of most jobs nothing is said of these modes; then all applied, none was seen, and whether they
-- were looked for hangs on what the sheet covered. Only the others are taken mode by mode.
create or replace temp table practice_result as
with
-- one row per job asked about on which the step was done
done as (
  select
    a.entry,
    a.covers
  from asked_jobs as a
  inner join jobs as j on j.entry = a.entry
  inner join first_choices as s on s.plan = j.plan and s.step = $step
),
-- one row per (covers, mode asked for): was it looked for?
looked as (
  select
    s.covers,
    m.mode,
    case when c.mode is null then 1 else 0 end as doubt
  from (select distinct covers from done) as s
  cross join asked_modes as m
  left join records.covers as c on c.covers = s.covers and c.mode = m.mode
),
-- one row per (job, mode asked for) of which something is said
said as (
  select
    f.entry,
    f.mode,
    f.seen,
    f.unchecked,
    f.preexisting
  from flags as f
  inner join asked_modes as m on m.mode = f.mode
  inner join done as d on d.entry = f.entry
),
-- one row per job of which something is said, if any mode applied
judged as (
  select
    d.entry,
    max(case when l.doubt = 1 or coalesce(s.unchecked, false) then 1 else 0 end) as doubt,
    max(case when coalesce(s.seen, false) then 1 else 0 end) as seen
  from (select distinct entry from said) as t
  inner join done as d on d.entry = t.entry
  inner join looked as l on l.covers = d.covers
  left join said as s on s.entry = d.entry and s.mode = l.mode
  where not coalesce(s.preexisting, false)
  group by d.entry
),
-- one row per job of which nothing is said
quiet as (
  select
    d.entry,
    c.doubt,
    0 as seen
  from done as d
  inner join (select covers, max(doubt) as doubt from looked group by covers) as c
    on c.covers = d.covers
  where d.entry not in (select entry from said)
),
-- both kinds
applied as (
  select * from judged
  union all
  select * from quiet
)
select * from applied

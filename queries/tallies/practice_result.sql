-- Question: what came of each job on which any of the modes asked for could happen?
-- Grain: one row per job on which any of the modes applied.
-- Reads: asked_modes, asked_units, flags, records.covers.
-- Parameters: none.
-- Columns: entry; doubt (1: not every mode that applied was looked for); seen (1: any was seen).
-- For any modes; practice_result_here is faster where all of them can happen at the step asked about.
create or replace temp table practice_result as
with
-- units of a part fold into their job
applied as (
  select
    u.entry,
    max(case when u.maybe or c.mode is null or coalesce(f.unchecked, false) then 1 else 0 end)
      as doubt,
    max(case when coalesce(f.seen, false) then 1 else 0 end) as seen
  from asked_modes as m
  inner join asked_units as u on u.target = m.target
  left join records.covers as c on c.covers = u.covers and c.mode = m.mode
  left join flags as f on f.entry = u.entry and f.mode = m.mode
  where m.kind = 'part' or not coalesce(f.preexisting, false)
  group by u.entry
)
select * from applied

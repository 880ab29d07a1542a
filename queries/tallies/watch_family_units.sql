-- Question: on which of the jobs that stand in for all others could a family have shown, and was every
--   mode of it that applied looked for?
-- Grain: one row per (stand-in, family): few.
-- Reads: watched_units, watched_families.
-- Parameters: none. The rows are added to the temporary table watched_units.
-- Columns: as in watch_units; subject and target (number of the family); mode (null); kind ('family');
--   place (''); maybe (true: a mode was not looked for, or may not have applied); looked (true).
insert into watched_units
select
  u.stand_in,
  u.covers,
  f.family as subject,
  cast(null as varchar) as mode,
  'family' as kind,
  f.family as target,
  '' as place,
  max(case when u.maybe or not u.looked then 1 else 0 end) = 1 as maybe,
  true as looked
from watched_units as u
inner join watched_families as f on f.mode = u.mode
group by u.stand_in, u.covers, f.family

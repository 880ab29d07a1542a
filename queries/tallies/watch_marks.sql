-- Question: of how many units does a record speak, and what does it say?
-- Grain: one row per (mode, what is said, maybe, covers, keys).
-- Reads: marks_first (of the watched jobs, see watch_kept), watched_jobs or group_jobs (slot jobs),
--   watched_units.
-- Parameters: none; slots: jobs, keys, filters (which of the jobs), places (condition on the units'
--   place). It becomes the temporary table asked_marks, which the statement modes adds up.
-- Columns: mode; seen, unclear, unchecked, excluded; maybe; covers; the keys; cluster (null: not
--   counted by technician); units.
select
  k.mode,
  k.seen,
  k.unclear,
  k.unchecked,
  k.excluded,
  u.maybe,
  u.covers,
  /*keys*/
  cast(null as varchar) as cluster,
  count(*) as units
from marks_first as k
inner join (select * from /*jobs*/ where true /*filters*/) as j on j.entry = k.entry
inner join (select * from watched_units where true /*places*/) as u
  on u.stand_in = j.stand_in and u.mode = k.mode and u.place = k.place
group by all

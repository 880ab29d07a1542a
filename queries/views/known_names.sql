-- Question: which names of open lists do the records or the catalogue's aliases know, and under which
--   spelling are they shown?
-- Grain: one row per (kind, folded spelling).
-- Reads: records.names, renamed, aliases.
-- Parameters: none.
-- Columns: kind; folded (lower case, single spaces); shown.
create or replace temp view known_names as
select
  n.kind,
  n.folded,
  coalesce(r.shown, n.shown) as shown
from records.names as n
left join renamed as r on r.kind = n.kind and r.stored = n.shown
union
select
  kind,
  lower(shown) as folded,
  shown
from aliases
union
select
  kind,
  folded,
  shown
from aliases

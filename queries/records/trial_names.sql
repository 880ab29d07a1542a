-- Question: which names of an open list are known, and how are they shown?
-- Grain: one row per folded name. Reads: records.names, aliases. Parameters: kind.
-- Columns: folded; shown.
select n.folded, coalesce(a.shown, n.shown) as shown
from records.names as n
left join aliases as a on a.kind = n.kind and a.folded = n.folded
where n.kind = $kind
union
select folded, shown
from aliases
where kind = $kind

-- Question: which names of open lists are known, under which spellings, and how are they shown?
-- Grain: one row per (kind, folded spelling). Reads: records.names, aliases.
-- Columns: kind; folded; shown.
select n.kind, n.folded, coalesce(a.shown, n.shown) as shown
from records.names as n
left join aliases as a on a.kind = n.kind and a.folded = n.folded
union
select kind, folded, shown from aliases
order by kind, shown, folded

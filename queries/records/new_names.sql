-- Does: keeps the first shown spelling of names that stored rows use for the first time.
-- Reads: names_used (kind, shown), records.names. Writes: records.names. Columns returned: both.
insert into records.names
select kind, fold_name(shown) as folded, any_value(shown) as shown
from names_used as u
where not exists (
  select 1 from records.names as n where n.kind = u.kind and n.folded = fold_name(u.shown))
group by kind, fold_name(shown)
order by kind, shown
returning kind, shown

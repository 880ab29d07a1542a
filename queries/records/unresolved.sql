-- Question: which elements are no known code, number or day?
-- Grain: one row a kind, owner and element. Reads: elements.
-- Columns: kind, owner, col, element, and word (the element without a place).
select distinct
  kind, owner, col, element,
  case when kind = 'failures' then tidy(split_part(element, '@', 1)) else element end as word
from elements
where code is null and element <> ''
  and not (element in ('-', '?') and kind in ('step', 'grade', 'supplier', 'lot', 'cost'))
  and not (lower(element) in ('-', 'none') and kind in ('failures', 'unchecked', 'preexisting'))
  and not (element = '-' and kind not in ('step', 'grade', 'job'))
  and not starts_with(element, '=');

-- Question: what is wrong with each element, if anything?
-- Grain: one row an element. Reads: elements, advice (words for unknown elements), days, mode_places
--   (where a mode can occur), privacy_rules. Parameter: zero_allowed is none.
-- Columns: those of elements and fault (null where the element is right).
create or replace temp table judged_elements as
select
  e.* exclude (place), coalesce(e.place, '') as place,
  case
    when unprintable(e.content) then 'has a sign that cannot be printed'
    when starts_with(e.content, '=') then 'a formula, not a value'
    when contains(e.content, ' masked]') then 'a masked value: write a permitted one or leave it blank'
    when e.kind in ('name', 'supplier', 'text', 'notes') and coalesce(p.rule, '') <> 'hash'
      and personal(e.content) is not null then personal(e.content) || ' is kept out of the records'
    when e.element = '' and e.kind in ('step', 'grade', 'supplier', 'lot', 'cost')
      and contains(e.content, '>')
      then 'nothing beside ''>''; write ? for what was not recorded'
    -- pieces of an address, such as the part before its @, would pass the masking
    when a.reason is not null and e.kind <> 'lot' and personal(e.content) is not null
      then personal(e.content) || ' is kept out of the records'
    when a.reason is not null then a.reason
    when d.fault is not null then d.fault
    when e.kind in ('amount', 'cost') and starts_with(e.code, '-') then 'below 0'
    -- A slipped key or a number of something else: 100,000 minutes are a year of working days on
    -- one device, and no currency has a repair of 1,000,000,000. One such number would outweigh all
    -- others in a mean. The tallies of decide leave out what older stores hold beyond these bounds.
    when e.kind = 'amount' and (e.owner <> '' or e.col = 'minutes')
      and try_cast(e.code as double) > 100000
      then 'more than 100,000 minutes: likely a typing error'
    when e.kind in ('amount', 'cost') and try_cast(e.code as double) > 1000000000
      then 'more than 1,000,000,000 in money: likely a typing error'
    when e.kind = 'failures' and e.place_text is not null
      and (e.place_text = '' or coalesce(e.number, 1) < 1 or coalesce(e.number, 1) > 99)
      then '''' || e.element || ''': after @ stands an attempt (from 1), a place, or place.number'
    when e.kind = 'failures' and e.place_text is not null and e.code in (select mode from mode_mixed)
      then e.code || ' lies between parts and takes no @'
    when e.kind = 'failures' and e.place <> '' and not exists (
      select 1 from mode_places as m where m.mode = e.code and m.place = e.place)
      then e.code || ' cannot occur at '''
        || regexp_replace(e.place_text, '\.\d+$', '') || '''; it can at '
        || (select string_agg(m.place, ', ' order by m.place) from mode_places as m
            where m.mode = e.code)
  end as fault
from elements as e
left join advice as a on a.kind = e.kind and a.owner = e.owner and a.element = e.element
left join days as d on e.kind = 'date' and d.col = e.col and d.written = e.element
left join privacy_rules as p on p.col = e.col;

-- Question: how is each distinct cell written in our spelling, and what is wrong with it?
-- Grain: one row a distinct cell. Reads: judged_elements, privacy_rules.
-- Columns: col, cell, clean (masked original where it is wrong), shown (the cell, masked),
--   reason (null where it is right).
create or replace temp table cells as
with
-- elements of lists once each; a sighting without a place gives way to the same with one
kept as (
  select *,
    code || case when coalesce(place, '') <> '' or number is not null then '@' else '' end
      || coalesce(place, '')
      || case when coalesce(place, '') <> '' and number is not null then '.' else '' end
      || coalesce(cast(number as varchar), '') as token,
    bool_or(place_text is not null) over (partition by col, cell, code) as attributed
  from judged_elements
),
-- one row a distinct cell, with each way to write it
gathered as (
  select
    col, cell, any_value(kind) as kind, any_value(content) as content,
    string_agg(distinct fault, '; ') as fault,
    count(*) as elements,
    list_distinct(list(coalesce(code, element))) as different,
    string_agg(coalesce(code, element), ' > ' order by position) as path,
    list(distinct {rank: rank, place: coalesce(place, ''), number: coalesce(number, 0), token: token})
      filter (code is not null and (place_text is not null or not attributed)) as tokens
  from kept
  group by col, cell
),
-- the same with the one that counts
written as (
  select *,
    case
      when kind in ('repair', 'failures', 'unchecked', 'preexisting') then
        case
          when list_contains(list_transform(tokens, lambda x: x.token), 'all') then 'all'
          when len(tokens) > 0 then
            array_to_string(list_transform(list_sort(tokens), lambda x: x.token), '; ')
          when kind <> 'repair' and lower(tidy(content)) in ('-', 'none') then 'none'
        end
      when kind in ('supplier', 'lot', 'cost') then
        case when list_has_all(['?', '-', ''], different) then null else path end
      when kind in ('step', 'grade') then nullif(path, '')
      when path = '-' then null
      else nullif(path, '')
    end as clean,
    case
      when kind in ('step', 'grade', 'supplier', 'lot', 'cost') and elements > 1
        and list_contains(different, '-') then '''-'' beside another entry'
    end as mixed
  from gathered
)
select
  w.col, w.cell,
  case
    when (w.fault is not null or w.mixed is not null) and p.rule = 'drop' and personal(w.content) is not null
      then null
    when w.fault is not null or w.mixed is not null
      then case when w.kind in ('lot', 'job') then w.content else masked(w.content) end
    else w.clean
  end as clean,
  case when w.kind in ('lot', 'job') then w.content else masked(w.content) end as shown,
  case when p.rule = 'drop' and personal(w.content) is not null then null
    -- what is shown of a cell in a reason is as masked as the cell itself
    when w.kind in ('lot', 'job') then coalesce(w.fault, w.mixed)
    else masked(coalesce(w.fault, w.mixed)) end as reason
from written as w
left join privacy_rules as p on p.col = w.col;

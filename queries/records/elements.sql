-- Question: what do the elements of each distinct cell say?
-- Grain: one row an element of a distinct cell, several where a family stands for its modes.
-- Reads: distinct_cells, sheet_columns, value_map, known_words, days, records.names.
-- Parameters: point and thousands (signs in numbers); exported (the file is our own sheet of
--   held-back rows, whose apostrophes against formulas are taken off again); native (the file is
--   no text: numbers may be stored as numbers).
-- Columns: col, cell, first_row, kind, owner, position (from 1), element (tidied), code (what it
--   means; null where that is not known), rank (order of codes), place and number (of failures).
create or replace temp table elements as
with
-- one row a distinct cell, in the mapping's translation where it has one
translated as (
  select
    c.col, c.cell, c.first_row, k.kind, k.owner, k.separator,
    coalesce(v.ours, case when $exported then regexp_replace(c.cell, '^''([=+@\t\r-])', '\1')
      else c.cell end) as content
  from distinct_cells as c
  join sheet_columns as k on k.col = c.col
  left join value_map as v on v.col = c.col and v.theirs = fold_name(c.cell)
),
-- the same with the list of its elements
listed as (
  select
    *,
    case when separator is null then [content] else string_split(content, separator) end as parts
  from translated
),
-- one row an element
split as (
  select
    * exclude (parts, content), content,
    tidy(unnest(parts)) as element, generate_subscripts(parts, 1) as position
  from listed
),
-- the same in the mapping's translation: of the whole element, or of the word before its place
worded as (
  select
    s.* replace (
      coalesce(v.ours, m.ours || '@' || regexp_extract(s.element, '[^@]*$'), s.element) as element)
  from split as s
  left join value_map as v
    on v.col = s.col and v.theirs = fold_name(s.element) and s.separator is not null
  left join value_map as m
    on m.col = s.col and m.theirs = fold_name(regexp_extract(s.element, '^(.*)@', 1))
    and s.kind = 'failures' and contains(s.element, '@')
),
-- the same, those of failures taken apart
translated_elements as (
  select
    *,
    case when kind = 'failures' then tidy(split_part(element, '@', 1)) else element end as word,
    case when kind = 'failures' and contains(element, '@')
      then tidy(substr(element, instr(element, '@') + 1)) end as place_text
  from worded
),
-- names as shown: as stored, else as first met in this file
shown as (
  select owner, fold_name(element) as folded, arg_min(element, first_row) as element
  from (
    select case kind when 'name' then owner else kind end as owner, element, first_row
    from translated_elements where kind in ('name', 'supplier', 'lot')
  )
  group by all
)
select
  e.col, e.cell, e.first_row, e.kind, e.owner, e.position, e.element, e.content,
  case
    when e.kind in ('name', 'supplier', 'lot') and e.element not in ('', '-')
      then coalesce(n.shown, f.element)
    when e.kind = 'date' then d.day
    when e.kind in ('amount', 'cost')
      then plain(coalesce(
        readable_number(e.element, $point, $thousands),
        case when $native then stored_number(e.element) end
      ))
    when e.kind = 'number'
      then plain(coalesce(
        readable_number(rtrim(e.element, ' %'), $point, $thousands),
        case when $native then stored_number(e.element) end
      ))
    when e.kind in ('text', 'notes') then e.element
    else w.code
  end as code,
  coalesce(w.position, 0) as rank,
  case when regexp_full_match(e.place_text, '\d+') then ''
    else fold_code(regexp_replace(e.place_text, '\.\d+$', '')) end as place,
  try_cast(regexp_extract(e.place_text, '(?:^|\.)(\d+)$', 1) as integer) as number,
  e.place_text
from translated_elements as e
left join known_words as w
  on w.kind = e.kind and w.owner = e.owner and w.slug = fold_code(e.word)
left join days as d on d.col = e.col and d.written = e.element
left join shown as f
  on f.owner = case e.kind when 'name' then e.owner else e.kind end
  and f.folded = fold_name(e.element)
left join records.names as n on n.kind = f.owner and n.folded = f.folded;

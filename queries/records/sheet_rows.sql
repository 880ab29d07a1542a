-- Question: how do jobs of the records read as rows of a job sheet?
-- Grain: one row an entry; importing it again changes nothing.
-- Reads: slot place (records or past), wanted (entry), known_words, records.batches.
-- Slots: columns (of the whole row); steps, parts, minutes, factors (one aggregate a column).
-- Columns: entry, covers, declared, and every column of a job sheet ('-': not done, not fitted).
with
-- one row an entry, a column a step
steps as (
  select entry, /*steps*/
  from /*place*/.attempts where entry in (select entry from wanted) group by entry
),
-- one row an entry, columns of each part
parts as (
  select entry, /*parts*/
  from /*place*/.pieces where entry in (select entry from wanted) group by entry
),
-- one row an entry, a column the minutes of each step
step_minutes as (
  select entry, /*minutes*/
  from /*place*/.step_minutes where entry in (select entry from wanted) group by entry
),
-- one row an entry, a column a factor
factor_values as (
  select entry, /*factors*/
  from /*place*/.factors where entry in (select entry from wanted) group by entry
),
-- where each mode stands in a cell: as in the catalogue
ranks as (select code, any_value(position) as rank from known_words where kind = 'failures' group by code),
-- one row an entry: its failures as one cell
failures as (
  select
    f.entry,
    string_agg(
      f.mode || case when f.place <> '' or f.number > 0 then '@' else '' end || f.place
        || case when f.place <> '' and f.number > 0 then '.' else '' end
        || case when f.number > 0 then cast(f.number as varchar) else '' end,
      '; ' order by coalesce(r.rank, 0), f.place, f.number, f.mode) as failures
  from /*place*/.failures as f
  left join ranks as r on r.code = f.mode
  where f.entry in (select entry from wanted)
  group by f.entry
),
-- one row an entry: its unchecked modes as one cell
unchecked as (
  select
    u.entry,
    case when bool_or(u.mode = '*') then 'all'
      else string_agg(u.mode, '; ' order by coalesce(r.rank, 0), u.mode) end as unchecked
  from /*place*/.unchecked as u
  left join ranks as r on r.code = u.mode
  where u.entry in (select entry from wanted)
  group by u.entry
),
-- one row an entry: its pre-existing modes as one cell
preexisting as (
  select p.entry, string_agg(p.mode, '; ' order by coalesce(r.rank, 0), p.mode) as preexisting
  from /*place*/.preexisting as p
  left join ranks as r on r.code = p.mode
  where p.entry in (select entry from wanted)
  group by p.entry
),
-- one row a set of covered modes: how it was declared
declarations as (
  select covers_set, any_value(covers) as declared from records.batches
  where covers_set is not null group by covers_set
)
select j.entry, j.covers, d.declared, /*columns*/
from /*place*/.jobs as j
left join steps on steps.entry = j.entry
left join parts on parts.entry = j.entry
left join step_minutes on step_minutes.entry = j.entry
left join factor_values on factor_values.entry = j.entry
left join failures on failures.entry = j.entry
left join unchecked on unchecked.entry = j.entry
left join preexisting on preexisting.entry = j.entry
left join declarations as d on d.covers_set = j.covers
where j.entry in (select entry from wanted)

-- Question: is the decimal sign of the file a comma or a point?
-- Grain: one row. Reads: distinct_cells, sheet_columns. Columns: counts of distinct numbers with
--   a comma (point) before other than three digits; with both signs, the comma (point) last.
select
  count(*) filter (regexp_full_match(tidy(cell), '[+-]?\d+,(\d{1,2}|\d{4,})')) as commas,
  count(*) filter (regexp_full_match(tidy(cell), '[+-]?\d+\.(\d{1,2}|\d{4,})')) as points,
  count(*) filter (regexp_full_match(tidy(cell), '[+-]?\d{1,3}(\.\d{3})+,\d+')) as both_comma,
  count(*) filter (regexp_full_match(tidy(cell), '[+-]?\d{1,3}(,\d{3})+\.\d+')) as both_point
from distinct_cells as c
join sheet_columns as k on k.col = c.col
where k.kind in ('amount', 'cost', 'number')

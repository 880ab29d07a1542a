-- Question: what does each row of the file mean?
-- Grain: one row a row of the file. A step column holds the attempts ('?': done, not recorded),
--   null where the step was not done; a grade column holds the pieces likewise.
-- Reads: belongs, seen_parts, and what slot source selects. Parameter: declared (the covers).
-- Slots: source; repair and failures (cells of it, or null); graded (pieces of each part), any_piece, columns, content (texts that are hashed).
create or replace temp table sheet as
with
-- one row a row of the file
rows_read as (/*source*/),
-- with the pieces of each part, as far as the part alone tells
graded as (
  select
    t.*, s.any_part, /*graded*/
  from rows_read as t
  left join belongs as b on b.repair = /*repair*/
  left join seen_parts as s on s.failures = /*failures*/
),
-- with the meaning of every cell
meant as (
  select row, covers, declared, held_back, /*columns*/
  from graded as t
)
select
  *,
  md5_number_lower(concat_ws(chr(31), 'covers=' || coalesce(declared, $declared), /*content*/))
    as content
from meant

-- Question: what does each row of the file mean?
-- Grain: one row a row of the file. A step column holds the attempts ('?': done, not recorded),
--   null where the step was not done; a grade column holds the pieces likewise.
-- Reads: belongs, seen_parts, and what slot source selects. Parameter: declared (the covers).
-- Slots: source; repair and failures (cells of it, or null); graded (pieces of each part);
--   columns; attempts (a text a step); content (texts that are hashed beside them).
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
),
-- with all attempts in one text: a method's code tells its step, what was not recorded is
-- written as the step and "?"
tried as (
  select *, concat_ws(';', null /*attempts*/) as attempts from meant
)
select
  *,
  -- twice as fast as md5_number_lower()
  cast('0x' || left(md5(
    concat(coalesce(declared, $declared), chr(31), attempts, /*content*/)), 16) as ubigint)
    as content
from tried

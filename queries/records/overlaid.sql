-- Question: how does each row of an update read as a whole row?
-- Grain: one row a row of the file. Reads: given, update_matches, and slot stored (sheet_rows).
-- Slots: columns, covers and declared (those of the stored row, or null).
-- A blank cell of the update says nothing: what is stored stays.
create or replace temp table overlaid as
with
-- one row a job of the update, as it is stored
stored as (/*stored*/)
select g.row, /*covers*/ as covers, /*declared*/ as declared, null::varchar as held_back, /*columns*/
from given as g
join update_matches as m on m.row = g.row
left join stored as s on s.entry = m.entry and m.matches = 1

-- Question: which words does one of the keys have on the jobs asked about?
-- Grain: one row per word; null: not recorded.
-- Reads: decide_told.
-- Parameters: none; slots: choice (its quoted name, or that of another key), place (the name as text).
-- Columns: name; word.
select distinct
  /*place*/ as name,
  /*choice*/ as word
from decide_told

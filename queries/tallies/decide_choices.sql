-- Question: which choices have a recorded option on any job asked about?
-- Grain: one row.
-- Reads: decide_told.
-- Parameters: none; the slot choices takes counts, one a choice.
-- Columns: jobs with a recorded option, one column a choice, named as it.
select
  /*choices*/
  count(*) as jobs
from decide_told

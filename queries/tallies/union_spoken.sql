-- Question: on which jobs does a record speak of any of the modes asked for?
-- Grain: one row per job that a record speaks of: few.
-- Reads: mentions, asked_modes.
-- Parameters: none. It becomes the temporary table asked_spoken.
-- Columns: entry.
select distinct n.entry
from mentions as n
inner join asked_modes as m on m.mode = n.mode

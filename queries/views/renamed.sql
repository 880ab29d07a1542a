-- Question: which stored names of open lists are shown otherwise because an alias says so?
-- Grain: one row per (kind, stored spelling) that an alias joins to another name.
-- Reads: records.names, aliases.
-- Parameters: none. A table, made once a session: many views read these few rows.
-- Columns: kind; stored (spelling in records); shown (the name the alias gives).
create or replace temp table renamed as
select
  n.kind,
  n.shown as stored,
  a.shown as shown
from records.names as n
inner join aliases as a on a.kind = n.kind and a.folded = n.folded

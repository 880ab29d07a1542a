-- Question: which entries does an update change?
-- Grain: one row an entry. Reads: update_matches. Columns: entry.
create or replace temp table wanted as
select entry from update_matches where matches = 1

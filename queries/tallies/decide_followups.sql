-- Question: how were the jobs followed that decisions are learnt from?
-- Grain: that of asked_followups.
-- Reads: asked_followups.
-- Parameters: none. A table: each choice asks it who was still followed.
-- Columns: those of asked_followups.
create or replace temp table decide_followups as
select * from asked_followups

-- Question: at which steps or parts can each failure mode occur?
-- Grain: one row a mode and place. Reads: mode_steps, mode_parts. Columns: mode, place, kind.
create or replace temp table mode_places as
select mode, step as place, 'step' as kind from mode_steps
union all
select mode, part, 'part' from mode_parts

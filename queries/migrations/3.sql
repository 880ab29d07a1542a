-- Does: brings a database of layout 2 to layout 3, which knows the days of trials, their safety limit
-- and how long their jobs wait. Days of trials begun before are those of Greenwich; their limit and
-- waiting were never settled.
alter table records.trials add column day date;
alter table records.trials add column safety_limit double;
alter table records.trials add column safety_modes varchar;
alter table records.trials add column wait_days integer;
update records.trials set day = cast(started as date);
alter table records.assignments add column day date;
update records.assignments set day = cast(handed_out as date)

-- Does: brings a database of layout 2 to layout 3, which knows the days of trials, their safety limit
-- and how long their jobs wait. Of older trials and draws the moment is kept, in Greenwich time: their
-- day is the earliest that it was anywhere, for by Greenwich's own a draw of the afternoon in America
-- would come after a hand-over of the same evening. Their limit and waiting were never settled.
alter table records.trials add column day date;
alter table records.trials add column safety_limit double;
alter table records.trials add column safety_modes varchar;
alter table records.trials add column wait_days integer;
update records.trials set day = cast(started - interval '12' hour as date);
alter table records.assignments add column day date;
update records.assignments set day = cast(handed_out - interval '12' hour as date)

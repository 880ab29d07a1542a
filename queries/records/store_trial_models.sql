-- Does: stores which models a trial takes for alike. Parameters: trial; models, groups (lists of one
-- length).
insert into records.trial_models
select $trial, unnest($models::varchar[]), unnest($groups::varchar[])

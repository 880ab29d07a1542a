-- Does: stores a set of covered modes. Parameters: covers (its number), modes.
insert into records.covers
select $covers, unnest($modes::varchar[])

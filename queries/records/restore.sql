-- Does: brings the entries in "leaving" (entry) of one table back from the past. Slots: table,
--   columns (* or, for jobs, all but replaced_by).
insert into records./*table*/
select /*columns*/ from past./*table*/ where entry in (select entry from leaving)

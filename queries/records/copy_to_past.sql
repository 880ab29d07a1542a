-- Does: copies the entries in "leaving" (entry) of one table to its past.
-- Slots: table, columns (* and, for jobs, the import that replaced them).
insert into past./*table*/
select /*columns*/ from records./*table*/ where entry in (select entry from leaving)

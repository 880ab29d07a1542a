-- Does: copies the versions of some jobs, standing and replaced, of one table to another database.
-- Slots: aside (that database), table, past (columns of its past), wanted (a table of entries).
create table /*aside*/.records./*table*/ as
select * from records./*table*/ where entry in (select entry from /*wanted*/)
union all
select /*past*/ from past./*table*/ where entry in (select entry from /*wanted*/)

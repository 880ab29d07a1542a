-- Does: takes the entries in "leaving" (entry) out of one table. Slots: place, table.
delete from /*place*/./*table*/ where entry in (select entry from leaving)

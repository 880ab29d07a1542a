-- Question: which names does one column of the sheet use?
-- Grain: one row a name. Reads: sheet. Slots: kind (of the open list), column.
select distinct /*kind*/ as kind, unnest(string_split(/*column*/, ' > ')) as shown
from (select distinct /*column*/ from sheet where /*column*/ is not null)

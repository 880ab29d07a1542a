-- Does: stores one row a mode nobody looked for, or one that was there at intake.
-- Reads: sheet. Parameter: base. Slot column (and table): unchecked or preexisting.
insert into records./*column*/
select $base + row, case mode when 'all' then '*' else mode end
from (
  select row, unnest(string_split(/*column*/, '; ')) as mode
  from sheet where /*column*/ is not null
)

-- Does: notes rows whose entries beside a part do not fit its pieces.
-- Reads: sheet. Writes: faults. Slots: grade and column (identifiers), code (the column as text).
insert into faults (row, col, value, reason)
select
  row, /*code*/, /*column*/,
  case
    when /*grade*/ is null then 'filled in though the part was not fitted (grade ''-'')'
    else len(string_split(/*column*/, ' > ')) || ' entries for '
      || len(string_split(/*grade*/, ' > ')) || ' pieces'
  end
from sheet
where /*column*/ is not null
  and (/*grade*/ is null or (
    (contains(/*column*/, ' > ') or contains(/*grade*/, ' > '))
    and len(string_split(/*column*/, ' > ')) <> len(string_split(/*grade*/, ' > '))))

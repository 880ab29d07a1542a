-- Does: reads a CSV file as text, names given by us from its header, the order of rows kept.
-- Grain: one row a row of the file. Rows that do not fit the header go to reject_errors.
-- Parameters: path, separator, longest (bytes of a line). Slots: columns (those wanted),
--   slots (a name and VARCHAR for every column of the file, by position).
create or replace temp table raw_sheet as
select /*columns*/
from read_csv(
  $path, columns = {/*slots*/}, header = true, auto_detect = false, delim = $separator,
  quote = '"', escape = '"', nullstr = '', store_rejects = true, max_line_size = $longest
)

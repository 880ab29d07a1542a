-- Does: notes an import. Parameters: one a column of records.batches.
insert into records.batches
values (
  $batch, $file, current_localtimestamp(), $kind, $covers, $covers_set, $mapping, $rows_read,
  $added, $changed, $unchanged, $repeated, $held_back, false
)

-- Grain: one row a row of a mended sheet of held-back rows, with the covers of its first import.
-- Reads: what slot source selects, records.batches.
-- Columns: those of source; covers and declared filled where that import stored jobs.
select
  r.* exclude (covers, declared), b.covers_set as covers,
  case when b.covers_set is not null then b.covers end as declared
from (/*source*/) as r
left join records.batches as b on b.batch = try_cast(split_part(r.held_back, ':', 1) as integer)

-- Does: adds the repairs and failures of the whole rows. Reads: overlaid. Writes: met.
insert into met
select col, cell from (
  select distinct 'repair' as col, repair as cell from overlaid where repair is not null
  union
  select distinct 'failures', failures from overlaid where failures is not null
)
except
select col, cell from met

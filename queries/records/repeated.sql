-- Does: takes out the second and further of identical rows of one job.
-- Reads and writes: sheet.
delete from sheet
where row in (
  select unnest(rows) from (
    select list_sort(list(row))[2:] as rows
    from sheet where job is not null
    group by job, branch, content
    having count(*) > 1
  )
)

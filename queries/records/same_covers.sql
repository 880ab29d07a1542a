-- Question: is there a set of covered modes with this declaration and these modes already?
-- Grain: one row such a set. Reads: records.batches, records.covers. Parameters: declared, modes.
-- Columns: covers_set.
with
-- one row a set with this declaration, with its modes
known as (
  select b.covers_set, list_sort(list(distinct c.mode) filter (c.mode is not null)) as modes
  from records.batches as b
  left join records.covers as c on c.covers = b.covers_set
  -- an import that stored no job has no set
  where b.covers = $declared and b.covers_set is not null
  group by b.covers_set
)
select covers_set from known
where coalesce(modes, []) = list_sort($modes::varchar[])
order by covers_set

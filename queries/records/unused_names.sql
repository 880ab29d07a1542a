-- Does: removes the names of open lists that nothing uses any more: no job, no past version and no
-- row that is held back. Reads: records.jobs, past.jobs, records.pieces, past.pieces,
-- records.heldback. Writes: records.names. Column returned: count.
delete from records.names
where (kind, folded) not in (
  with
  -- one row a kind and spelling, as stored
  spellings as (
    select distinct 'model' as kind, model as shown from records.jobs
    union select distinct 'technician', technician from records.jobs
    union select distinct 'branch', branch from records.jobs
    union select distinct 'model', model from past.jobs
    union select distinct 'technician', technician from past.jobs
    union select distinct 'branch', branch from past.jobs
    union select distinct 'supplier', supplier from records.pieces
    union select distinct 'lot', lot from records.pieces
    union select distinct 'supplier', supplier from past.pieces
    union select distinct 'lot', lot from past.pieces
    union select 'branch', branch from records.heldback
  ),
  -- one row a filled cell of a row that is held back: "battery_lot" is of the kind "lot"
  held as (
    select regexp_extract(c.key, '(model|technician|supplier|lot)$') as kind, c.value ->> '$' as cell
    from records.heldback as h, json_each(h.line) as c
    where c.value ->> '$' is not null
  ),
  -- one row a kind and folded spelling
  used as (
    select kind, fold_name(shown) as folded from spellings where shown is not null
    union
    select kind, fold_name(unnest(string_split(cell, '>'))) from held where kind <> ''
  )
  select kind, folded from used
)

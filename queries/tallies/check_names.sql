-- Question: which names of open lists do the records use, and on how many jobs?
-- Grain: one row per (kind, name); spellings that an alias joins are one name.
-- Reads: jobs, pieces.
-- Parameters: none.
-- Columns: kind ('model', 'technician', 'branch', 'supplier', 'lot'); name; jobs.
with
-- one row per (kind, name)
counted as (
  select 'model' as kind, model as name, count(*) as jobs
  from jobs
  group by model
  union all
  select 'technician' as kind, technician as name, count(*) as jobs
  from jobs
  group by technician
  union all
  select 'branch' as kind, branch as name, count(*) as jobs
  from jobs
  group by branch
  union all
  select 'supplier' as kind, supplier as name, count(distinct entry) as jobs
  from pieces
  group by supplier
  union all
  select 'lot' as kind, lot as name, count(distinct entry) as jobs
  from pieces
  group by lot
)
select * from counted
where name is not null
order by kind, name

-- Question: which jobs are like each other: could the same go wrong, and was it looked for?
-- Grain: one row per watched job.
-- Reads: watched_asked, first_pieces, mixed_units (of the watched jobs, see watch_kept).
-- Parameters: none. It becomes the temporary table watched_jobs.
-- Columns: entry; stand_in (entry of the job that stands in for all like it: the same targets at
--   steps, parts fitted, doubt about mixed parts, and covers); model, month, quarter, technician;
--   finished; watched (as in watched_asked).
-- Stand-ins are few and jobs are many, so units are listed of stand-ins only, and jobs are counted.
create or replace temp table watched_jobs as
with
-- parts fitted and parts that may be mixed, in one list
things as (
  select
    entry,
    part as thing
  from first_pieces
  union all
  select
    entry,
    concat(cast(target as varchar), case when maybe then '?' else '' end) as thing
  from mixed_units
),
-- one row per job with any, all of them as one text; two orders of the same are two texts, which
-- makes two stand-ins of one and does no harm
beside as (
  select
    entry,
    string_agg(thing, ',') as things
  from things
  group by entry
),
-- one row per job
described as (
  select
    j.entry,
    coalesce(j.standing, '') as standing,
    coalesce(b.things, '') as things,
    j.covers,
    j.model,
    j.month,
    j.quarter,
    j.technician,
    j.finished,
    j.watched
  from watched_asked as j
  left join beside as b on b.entry = j.entry
),
-- one row per kind of job
kinds as (
  select
    standing,
    things,
    covers,
    min(entry) as stand_in
  from described
  group by standing, things, covers
),
-- one row per job
alike as (
  select
    d.entry,
    k.stand_in,
    d.model,
    d.month,
    d.quarter,
    d.technician,
    d.finished,
    d.watched
  from described as d
  inner join kinds as k
    on k.standing = d.standing and k.things = d.things and k.covers is not distinct from d.covers
)
select * from alike

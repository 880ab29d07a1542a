-- Question: which jobs are like each other: could the same go wrong, and was it looked for?
-- Grain: one row per watched job.
-- Reads: watched_asked, watched_kinds, first_pieces, mixed_units (of the examples of the kinds).
-- Parameters: none. It becomes the temporary table watched_jobs.
-- Columns: entry; stand_in (entry of the job that stands in for all like it: the same targets at
--   steps, parts fitted, doubt about mixed parts, and covers); model, month, quarter, technician;
--   finished; watched (as in watched_asked).
-- Stand-ins are few and jobs are many, so units are listed of stand-ins only, and jobs are counted.
create or replace temp table watched_jobs as
with
-- parts fitted and parts that may be mixed, of the examples, in one list
things as (
  select
    p.entry,
    p.part as thing
  from first_pieces as p
  inner join watched_kinds as k on k.example = p.entry
  union all
  select
    entry,
    concat(cast(target as varchar), case when maybe then '?' else '' end) as thing
  from mixed_units
),
-- one row per example with any, all of them as one text
beside as (
  select
    entry,
    string_agg(thing, ',') as things
  from things
  group by entry
),
-- one row per kind of job; kinds that come to the same share a stand-in
kinds as (
  select
    k.standing,
    k.things,
    k.covers,
    min(k.example) over (partition by k.standing, b.things, k.covers) as stand_in
  from watched_kinds as k
  left join beside as b on b.entry = k.example
),
-- one row per job
alike as (
  select
    j.entry,
    k.stand_in,
    j.model,
    j.month,
    j.quarter,
    j.technician,
    j.finished,
    j.watched
  from watched_asked as j
  inner join kinds as k
    on k.standing = j.standing and k.things = j.things and k.covers is not distinct from j.covers
)
select * from alike

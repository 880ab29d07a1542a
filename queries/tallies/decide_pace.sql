-- Question: on how many jobs did this choice arise, and on how many of late?
-- Grain: one row per (option, model).
-- Reads: decide_jobs, decide_words.
-- Parameters: as_of (last day of the records); slots: choice (its quoted name), name
--   (the same as text).
-- Columns: option (null: not recorded); model; jobs; recent (of the last 90 days); year (of the last
--   365 days); first (day of the first).
with
-- one row per pair of codes
counted as (
  select
    /*choice*/ as option,
    model,
    count(*) as jobs,
    count(case when date_diff('day', finished, $as_of) < 90 then 1 end) as recent,
    count(case when date_diff('day', finished, $as_of) < 365 then 1 end) as year,
    min(finished) as first
  from decide_jobs
  group by all
),
-- the same in words
told as (
  select
    o.word as option,
    m.word as model,
    c.jobs,
    c.recent,
    c.year,
    c.first
  from counted as c
  inner join decide_words as o on o.name = /*name*/ and o.code = c.option
  inner join decide_words as m on m.name = 'model' and m.code = c.model
  where o.word is distinct from '-'
)
select * from told

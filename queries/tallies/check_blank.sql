-- Question: how often was a step of the repair left blank, or the grade of a fitted piece?
-- Grain: one row per (kind, place).
-- Reads: records.attempts, records.pieces.
-- Parameters: none.
-- Columns: kind ('step', 'grade'); place (step or part); blank, units (jobs on which the step was
--   done, or fitted pieces).
with
-- one row per step
of_steps as (
  select
    'step' as kind,
    step as place,
    count(case when method is null then 1 end) as blank,
    count(*) as units
  from records.attempts
  where attempt = 1
  group by step
),
-- one row per part
of_pieces as (
  select
    'grade' as kind,
    part as place,
    count(case when grade is null then 1 end) as blank,
    count(*) as units
  from records.pieces
  where fitted
  group by part
),
-- both in one
counted as (
  select * from of_steps
  union all
  select * from of_pieces
)
select * from counted
order by kind, place

-- Question: which jobs of a step tell about practice with its methods, and what came of each?
-- Grain: one row per job asked about on which the step was done.
-- Reads: practice_result, asked_modes, asked_jobs, flags, practice, modes, jobs,
--   records.step_minutes.
-- Parameters: step (code); labour_rate (money per hour).
-- Columns: method (null: not recorded); technician (number, null: not recorded); model (number);
--   uses (earlier jobs of the technician with the method; null: method or technician not recorded);
--   settled (true: in use by the technician at the beginning of the records); doubt (1: not every
--   mode that applied was looked for; null: none applied); seen (1: any of the modes was seen);
--   cost (money of the modes seen, by the catalogue); unpriced (modes seen that have no cost);
--   minutes (of the step; null: not recorded).
-- A running number of uses tells single jobs of a technician apart, so there is nothing to add up
-- here: the counts by number of uses are made from these columns.
with
-- one row per job on which any of the modes was seen
costs as (
  select
    f.entry,
    sum(coalesce(m.cost_minutes, 0) / 60 * $labour_rate + coalesce(m.cost_money, 0)) as cost,
    sum(case when m.cost_minutes is null and m.cost_money is null then 1 else 0 end) as unpriced
  from flags as f
  inner join asked_modes as a on a.mode = f.mode
  inner join modes as m on m.mode = f.mode
  where f.seen
  group by f.entry
),
-- one row per job asked about on which the step was done
told as (
  select
    p.method,
    dense_rank() over (order by p.technician) as technician,
    dense_rank() over (order by b.model) as model,
    p.uses,
    p.settled,
    a.doubt,
    a.seen,
    c.cost,
    c.unpriced,
    t.minutes
  from practice as p
  inner join asked_jobs as j on j.entry = p.entry
  inner join jobs as b on b.entry = p.entry
  left join practice_result as a on a.entry = p.entry
  left join costs as c on c.entry = p.entry
  left join records.step_minutes as t on t.entry = p.entry and t.step = $step
  where p.step = $step
)
select * from told

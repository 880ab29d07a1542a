-- Question: which trials were begun, and how far are they?
-- Grain: one row per trial, in order of beginning.
-- Reads: records.trials, records.assignments, records.exclusions, trial_drawn.
-- Parameters: none.
-- Columns: trial; choice; baseline, option; mode, family (null for a union); modes (codes joined by
--   commas); difference (of rates); max_jobs; seed; started (moment); handed_out (slots); jobs
--   (recorded, with an option known to have been drawn: the same that its status counts); excluded
--   (devices, before anything was drawn); day (of the beginning, in the shop's time zone);
--   safety_limit, safety_modes (what its harm stop goes by; null: never settled); wait_days (after
--   its intake until a job counts; null: none).
with
-- one row per trial with slots handed out
handed as (
  select trial, count(*) as handed_out
  from records.assignments
  where handed_out is not null
  group by trial
),
-- one row per trial with jobs recorded
recorded as (
  select trial, count(*) as jobs
  from trial_drawn
  where drawn is not null
  group by trial
),
-- one row per trial with exclusions
excluded as (
  select trial, count(*) as excluded
  from records.exclusions
  group by trial
),
-- one row per trial
counted as (
  select
    t.trial,
    t.choice,
    t.baseline,
    t.option,
    t.mode,
    t.family,
    t.modes,
    t.difference,
    t.max_jobs,
    t.seed,
    t.started,
    coalesce(h.handed_out, 0) as handed_out,
    coalesce(r.jobs, 0) as jobs,
    coalesce(x.excluded, 0) as excluded,
    t.day,
    t.safety_limit,
    t.safety_modes,
    t.wait_days
  from records.trials as t
  left join handed as h on h.trial = t.trial
  left join recorded as r on r.trial = t.trial
  left join excluded as x on x.trial = t.trial
)
select * from counted
order by started, trial

-- Question: what was settled when the trial of this name began?
-- Grain: one row, none if there is no such trial. Parameters: trial. Columns: as in records.trials.
select trial, choice, baseline, option, mode, family, modes, difference, max_jobs, seed,
  safety_limit, wait_days, safety_modes
from records.trials
where trial = $trial

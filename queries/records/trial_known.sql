-- Question: which trials are there?
-- Grain: one row per trial. Parameters: none. Columns: trial.
select trial
from records.trials

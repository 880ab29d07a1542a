-- Question: to which group does a trial count this model?
-- Grain: one row, none for a model that no group names. Parameters: trial, model. Columns: model_group.
select model_group
from records.trial_models
where trial = $trial and lower(model) = lower($model)

-- Does: brings a database of layout 1 to layout 2, which knows trials. Reads nothing.
-- The same tables stand in schema.sql, where their words are.
create table if not exists records.trials (
  trial varchar, choice varchar, baseline varchar, option varchar, mode varchar, family varchar,
  modes varchar, difference double, max_jobs integer, seed varchar, started timestamp
);
create table if not exists records.trial_models (trial varchar, model varchar, model_group varchar);
create table if not exists records.assignments (
  trial varchar, technician varchar, model_group varchar, slot integer, block integer,
  assigned varchar, handed_out timestamp, model varchar, job varchar
);
create table if not exists records.exclusions (
  trial varchar, technician varchar, model varchar, job varchar, reason varchar,
  recorded timestamp
)

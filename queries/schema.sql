-- What the database of a shop holds. Everything in the schema "records" is what the sheets said;
-- names are shown spellings (aliases are applied by the views). One row of records.jobs is one job
-- as it stands now; "entry" numbers it through all tables. Versions that were replaced, and what a
-- taken-back import had brought, lie in "past" in the same shape.
-- Units: minutes; money in the shop's currency; dates without time, in the shop's time zone.
create schema if not exists records;
create schema if not exists past;

create table if not exists records.meta (key varchar, value varchar);

-- One row an import. covers: how it was declared ("all", "seen", codes). covers_set: what that meant.
create table if not exists records.batches (
  batch integer, file varchar, taken_in timestamp, kind varchar, covers varchar, covers_set integer,
  mapping varchar, rows_read bigint, added bigint, changed bigint, unchanged bigint,
  repeated bigint, held_back bigint, undone boolean
);

-- The modes that the bench looked for: one row per (covers, mode).
create table if not exists records.covers (covers integer, mode varchar);

-- First shown spelling of every name of an open list; folded: lower case, single spaces.
create table if not exists records.names (kind varchar, folded varchar, shown varchar);

create table if not exists records.jobs (
  entry bigint, job varchar, branch varchar, finished date, received date, model varchar,
  repair varchar, technician varchar, outcome varchar, minutes double, price double,
  failure_cost double, notes varchar, returned date, return_reason varchar, return_of varchar,
  trial varchar, assigned varchar, covers integer, batch integer, content ubigint, plan varchar
);

-- The plan of a job is its set of first choices, written "method;step?;..." in bench order ("step?":
-- done, method not recorded; steps that were not done are left out). There are few plans and many
-- jobs, so first choices are counted by plan. One row per (plan, step); method null: not recorded.
create table if not exists records.plans (plan varchar, step varchar, method varchar);

-- attempt 1 with method null: the step belongs to the repair and was left blank.
-- No row: the step was not done.
create table if not exists records.attempts (
  entry bigint, step varchar, attempt smallint, method varchar
);
create table if not exists records.step_minutes (entry bigint, step varchar, minutes double);

-- fitted false: seen in the device, not fitted on this job. grade null: not recorded.
create table if not exists records.pieces (
  entry bigint, part varchar, piece smallint, grade varchar, supplier varchar, lot varchar,
  cost double, fitted boolean
);

-- place: step or part, '' where the record does not say; number: attempt or piece, 0 likewise.
create table if not exists records.failures (
  entry bigint, mode varchar, place varchar, number smallint
);
-- mode '*': nobody looked for anything.
create table if not exists records.unchecked (entry bigint, mode varchar);
create table if not exists records.preexisting (entry bigint, mode varchar);

-- number: the value of a number factor; else null. value: the text as recorded.
create table if not exists records.factors (
  entry bigint, factor varchar, value varchar, number double
);

-- Rows that were not let in. "line" is the whole row as a JSON object of our column names, cells
-- in our spelling where they could be read. cleared_by: the import that brought the mended row.
create table if not exists records.heldback (
  batch integer, file varchar, row bigint, job varchar, branch varchar, "column" varchar,
  value varchar, reason varchar, line varchar, cleared_by integer
);

-- One row a trial of two options of a choice. mode: null for a union; family: null for one of several
-- families; modes: codes of the main outcome on the day it began, joined by commas. difference: the
-- smallest one worth having. seed: the schedule follows from it. started: in Greenwich time; day: in
-- the shop's time zone. safety_limit, safety_modes (codes): what the harm stop goes by; wait_days:
-- after its intake until a job counts; null: never settled, the trial is older than that (or, of
-- wait_days, no day of intake was known).
create table if not exists records.trials (
  trial varchar, choice varchar, baseline varchar, option varchar, mode varchar, family varchar,
  modes varchar, difference double, max_jobs integer, seed varchar, started timestamp,
  day date, safety_limit double, safety_modes varchar, wait_days integer
);

-- Which models a trial takes for alike; those that are not named belong to the group "middle".
create table if not exists records.trial_models (trial varchar, model varchar, model_group varchar);

-- The schedule: slots of each stratum (technician and group of models) in order. handed_out (moment
-- in Greenwich time), day (in the shop's time zone), model: null for one that is still to come; job:
-- where the bench named it.
create table if not exists records.assignments (
  trial varchar, technician varchar, model_group varchar, slot integer, block integer,
  assigned varchar, handed_out timestamp, model varchar, job varchar, day date
);

-- Devices kept out of a trial before anything was drawn for them.
create table if not exists records.exclusions (
  trial varchar, technician varchar, model varchar, job varchar, reason varchar,
  recorded timestamp
);

create table if not exists past.jobs as
  select *, null::integer as replaced_by from records.jobs limit 0;
create table if not exists past.attempts as from records.attempts limit 0;
create table if not exists past.step_minutes as from records.step_minutes limit 0;
create table if not exists past.pieces as from records.pieces limit 0;
create table if not exists past.failures as from records.failures limit 0;
create table if not exists past.unchecked as from records.unchecked limit 0;
create table if not exists past.preexisting as from records.preexisting limit 0;
create table if not exists past.factors as from records.factors limit 0;

-- Question: on which jobs was this choice made and recorded, and which of them are the latest?
-- Grain: one row per job.
-- Reads: decide_jobs, decide_words.
-- Parameters: none; slots: choice (its quoted name), name (the same as text), keys (quoted names of
--   conditions). A table.
-- Columns: entry; covers; finished; minutes; returned, return_reason; option, model (words);
--   option_code, model_code, the keys (codes of decide_words); latest (1 for the last job with the
--   choice on its model, 2 for the one before, ...; of one day in order of entry).
create or replace temp table decide_chosen as
with
-- words of the options, under names that no key has
options as (
  select
    code as "code of option",
    word as "word of option"
  from decide_words
  where name = /*name*/
),
-- words of the models, likewise
models as (
  select
    code as "code of model",
    word as "word of model"
  from decide_words
  where name = 'model'
),
-- one row per job with the choice
chosen as (
  select
    entry,
    covers,
    finished,
    minutes,
    returned,
    return_reason,
    "word of option" as option,
    "word of model" as model,
    "code of option" as option_code,
    "code of model" as model_code,
    /*keys*/
    row_number() over (partition by "code of model" order by finished desc, entry desc) as latest
  from decide_jobs as j
  inner join options on "code of option" = j./*choice*/
  inner join models on "code of model" = j.model
  where "word of option" is not null and "word of option" <> '-'
)
select * from chosen

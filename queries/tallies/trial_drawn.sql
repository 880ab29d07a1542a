-- Question: which jobs belong to a trial, and what was drawn for each?
-- Grain: one row per (trial, job handed an option for it, or recorded under it).
-- Reads: jobs, records.trials, records.assignments.
-- Parameters: none.
-- Columns: trial; entry; drawn (option: as handed out for that job, else as the sheet says; null:
--   not known, so the job counts for nothing); contradiction (null: none; otherwise: the sheet says
--   another option than was handed out; blank: handed out, trial or assigned left blank;
--   other_trial: handed out, recorded under another trial; no_option: not handed out by name, and
--   the sheet names none of the two options; not_drawn: the same, and it names nothing; before_start,
--   before_draw: handed over on a day before the trial began, or before that on which an option was
--   handed out for it); handed (the option handed out by name, whatever the dates; null: none was);
--   day (before which a hand-over is too early).
-- Notes:
--   A job taken in before the beginning is in the trial if it was handed over since: its option was
--   drawn before its outcome was known. Where an option was handed out by name, that day is what
--   counts; a job of the printed sheet says nothing of the day on which its line was opened.
create or replace temp table trial_drawn as
with
-- one row per slot handed out for a job by name
slots as (
  select
    trial,
    technician,
    lower(trim(job)) as job,
    lower(assigned) as drawn,
    day
  from records.assignments
  where handed_out is not null and job is not null
),
-- one row per job, as its sheet has it
sheet as (
  select
    entry,
    technician,
    finished,
    lower(trim(job)) as job,
    nullif(lower(trim(trial)), '') as trial,
    nullif(lower(trim(assigned)), '') as assigned
  from jobs
),
-- one row per slot with a job recorded: where branches number alike, the one that fits best
handed as (
  select
    s.trial,
    j.entry,
    j.finished,
    s.day,
    s.drawn,
    s.drawn as handed,
    case
      when j.assigned <> s.drawn then 'otherwise'
      when j.assigned is null or j.trial is null then 'blank'
      when j.trial <> s.trial then 'other_trial'
    end as contradiction
  from slots as s
  inner join sheet as j on j.job = s.job
  qualify row_number() over (
    partition by s.trial, s.job
    order by
      (j.finished >= s.day) desc,
      (j.trial is not distinct from s.trial) desc,
      (j.technician is not distinct from s.technician) desc,
      j.entry
  ) = 1
),
-- one row per job recorded under a trial that handed out nothing for it by name
printed as (
  select
    t.trial,
    j.entry,
    j.finished,
    t.day,
    case when j.assigned in (lower(t.baseline), lower(t.option)) then j.assigned end as drawn,
    null as handed,
    case
      when j.assigned is null then 'not_drawn'
      when j.assigned not in (lower(t.baseline), lower(t.option)) then 'no_option'
    end as contradiction
  from sheet as j
  inner join records.trials as t on t.trial = j.trial
  anti join handed as h on h.trial = t.trial and h.entry = j.entry
),
-- one row per (trial, job)
both_ways as (
  select * from handed
  union all
  select * from printed
),
-- the same, without an option where it was too late to draw one
drawn as (
  select
    b.trial,
    b.entry,
    case when b.finished >= b.day then b.drawn end as drawn,
    case
      when b.finished < t.day then 'before_start'
      when b.finished < b.day then 'before_draw'
      else b.contradiction
    end as contradiction,
    b.handed,
    b.day
  from both_ways as b
  inner join records.trials as t on t.trial = b.trial
)
select * from drawn

-- Does: stores a trial. Parameters: the columns of records.trials.
insert into records.trials
select
  $trial, $choice, $baseline, $option, $mode, $family, $modes, $difference, $max_jobs, $seed,
  $started::timestamp

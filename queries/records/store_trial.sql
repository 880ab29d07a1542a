-- Does: stores a trial. Parameters: the columns of records.trials.
insert into records.trials
select
  $trial, $choice, $baseline, $option, $mode, $family, $modes, $difference, $max_jobs, $seed,
  $moment::timestamp, $day::date, $safety_limit, $safety_modes, $wait_days

-- Does: stores slots of a schedule that are still to come. Parameters: trial; technicians, groups,
-- slots, blocks, options (lists of one length).
insert into records.assignments
select
  $trial, unnest($technicians::varchar[]), unnest($groups::varchar[]), unnest($slots::integer[]),
  unnest($blocks::integer[]), unnest($options::varchar[]), null, null, null, null

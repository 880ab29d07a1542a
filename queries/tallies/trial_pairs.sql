-- Question: in how many pairs did only one of the two options fail, as they became complete?
-- Grain: one row per (role, import, day) by which pairs were complete.
-- Reads: trial_places.
-- Parameters: baseline, option (the two of the trial).
-- Columns: role; batch (the import); day (of those jobs of the pair that came by it, the later
--   one); more, fewer (pairs in which only the option, only its baseline failed); both; neither.
-- Notes:
--   Within a stratum the first job of one option goes with the first of the other, and so on. Where a
--   job no longer counts at its place, its pair is left out, and no other pair changes.
with
-- one row per pair that counts
pairs as (
  select
    a.role,
    greatest(a.batch, b.batch) as batch,
    case
      when a.batch > b.batch then a.day
      when a.batch < b.batch then b.day
      else greatest(a.day, b.day)
    end as day,
    a.failed,
    b.failed as baseline_failed
  from trial_places as a
  inner join trial_places as b
    on b.role = a.role
    and b.bench is not distinct from a.bench
    and b.model_group = a.model_group
    and b.place = a.place
  where
    a.drawn = lower($option)
    and b.drawn = lower($baseline)
    and a.failed is not null
    and b.failed is not null
),
-- one row per (role, import, day)
steps as (
  select
    role,
    batch,
    day,
    count(case when failed and not baseline_failed then 1 end) as more,
    count(case when baseline_failed and not failed then 1 end) as fewer,
    count(case when failed and baseline_failed then 1 end) as both,
    count(case when not failed and not baseline_failed then 1 end) as neither
  from pairs
  group by role, batch, day
)
select * from steps
order by role, batch, day

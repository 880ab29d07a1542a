-- Question: how many devices of each value of a group came back, out of how many that as long a
--   follow-up of alike jobs of the whole shop would have given it?
-- Grain: one row per (reason, value); with finished in the slot keys, per day of hand-over too.
-- Reads: watched_followups or watched_followups_of_PART (slot followups), watched_values (in the
--   slot filters).
-- Parameters: days (follow-up in days), as_of (the day up to which returns are known); slots:
--   followups, value (the column of the group), alike (what makes jobs alike, as in watch_groups),
--   keys, filters (which values to answer for).
-- Columns: reason (a mode; 'any': any but unrelated); value; failures (returns); expected (returns:
--   over the days each job was followed, the returns of all alike jobs per job still followed); of
--   the value as a whole, whatever the keys: opportunities (jobs followed), shared (returns of all
--   alike jobs); own_part (of the expected returns, those that its own returns make one expect).
-- The expected number is that of the log-rank test; a return for another reason ends the follow-up.
-- Fractions are added up as decimals: the same sum in whatever order.
-- Values that are alone among their alike jobs are left out there: they tell nothing.
with
-- one row per job handed over by then: the last day on which it is followed
begun as (
  select
    /*value*/ as value,
    /*alike*/ as alike,
    /*keys*/
    days_back,
    reason,
    least(days_watched, date_diff('day', finished, $as_of), $days) as last_day
  from /*followups*/
  where finished <= $as_of
),
-- jobs by when and how they left; '' where nobody wrote down why they came back
leaving as (
  select
    value,
    alike,
    /*keys*/
    case when days_back <= last_day then days_back else last_day end as day,
    case when days_back <= last_day then coalesce(reason, '') end as reason,
    count(*) as jobs
  from begun
  group by all
),
-- all values together, those that left on one day
by_day as (
  select
    alike,
    day,
    sum(jobs) as jobs
  from leaving
  group by alike, day
),
-- with those still followed when the day began
followed as (
  select
    alike,
    day,
    sum(jobs) over (partition by alike order by day desc) as at_risk
  from by_day
),
-- returns of one reason, and of any
returns as (
  select
    alike,
    value,
    day,
    reason,
    /*keys*/
    jobs
  from leaving
  where reason is not null and reason not in ('', 'unrelated')
  union all
  select
    alike,
    value,
    day,
    'any' as reason,
    /*keys*/
    jobs
  from leaving
  where reason is not null and reason <> 'unrelated'
),
-- one row per (alike jobs, reason, day with returns): the share that came back on it
hazards as (
  select
    r.alike,
    r.reason,
    r.day,
    sum(r.jobs) as jobs,
    sum(r.jobs) / min(f.at_risk) as hazard
  from returns as r
  inner join followed as f on f.alike = r.alike and f.day = r.day
  group by r.alike, r.reason, r.day
),
-- one row per (alike jobs, reason, day on which any left): the shares up to it, added up
hazards_by_then as (
  select
    r.alike,
    r.reason,
    d.day,
    sum(coalesce(h.hazard, 0)) over (partition by r.alike, r.reason order by d.day) as hazard
  from (select distinct alike, reason from hazards) as r
  inner join by_day as d on d.alike = r.alike
  left join hazards as h on h.alike = r.alike and h.reason = r.reason and h.day = d.day
),
-- jobs by when they left, however that was
gone as (
  select
    value,
    alike,
    /*keys*/
    day,
    sum(jobs) as jobs
  from leaving
  group by all
),
-- one row per alike jobs: how many there are
sizes as (
  select
    alike,
    sum(jobs) as jobs
  from by_day
  group by alike
),
-- one row per (value, alike jobs) that has others to be compared with
own as (
  select
    l.value,
    l.alike,
    sum(l.jobs) as jobs
  from leaving as l
  inner join sizes as s on s.alike = l.alike
  where l.value is not null /*filters*/
  group by l.value, l.alike, s.jobs
  having sum(l.jobs) < s.jobs
),
-- their returns beside those expected
side_by_side as (
  select
    r.reason,
    r.value,
    r.alike,
    /*keys*/
    r.jobs as failures,
    0 as expected
  from returns as r
  inner join own as o on o.value = r.value and o.alike = r.alike
  union all
  select
    h.reason,
    l.value,
    l.alike,
    /*keys*/
    0 as failures,
    cast(l.jobs * h.hazard as decimal(38, 15)) as expected
  from gone as l
  inner join own as o on o.value = l.value and o.alike = l.alike
  inner join hazards_by_then as h on h.alike = l.alike and h.day = l.day
  where h.hazard > 0
),
-- one row per (reason, value, alike jobs), and keys
within as (
  select
    reason,
    value,
    alike,
    /*keys*/
    sum(failures) as failures,
    sum(expected) as expected
  from side_by_side
  group by all
),
-- one row per (reason, alike jobs): their returns
of_alike as (
  select
    reason,
    alike,
    sum(jobs) as jobs
  from hazards
  group by reason, alike
),
-- one row per (reason, value), and keys
compared as (
  select
    w.reason,
    w.value,
    /*keys*/
    cast(sum(w.failures) as bigint) as failures,
    cast(sum(w.expected) as double) as expected,
    cast(
      sum(cast(w.failures * cast(w.expected as double) / a.jobs as decimal(38, 15))) as double
    ) as own_part
  from within as w
  inner join of_alike as a on a.reason = w.reason and a.alike = w.alike
  group by all
),
-- one row per (reason, value): returns of all jobs alike to its own
shared as (
  select
    a.reason,
    o.value,
    cast(sum(a.jobs) as bigint) as shared
  from own as o
  inner join of_alike as a on a.alike = o.alike
  group by a.reason, o.value
),
-- one row per value: its jobs
followed_jobs as (
  select
    value,
    cast(sum(jobs) as bigint) as opportunities
  from own
  group by value
),
-- all beside each other
answered as (
  select
    c.*,
    f.opportunities,
    s.shared
  from compared as c
  inner join shared as s on s.reason = c.reason and s.value = c.value
  inner join followed_jobs as f on f.value = c.value
)
select * from answered
order by reason, value

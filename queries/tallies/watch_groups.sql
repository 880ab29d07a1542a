-- Question: how many failures of each mode fell to each value of a group, out of how many that the
--   same work of the whole shop would have given it?
-- Grain: one row per (mode, value).
-- Reads: watched_groups (a temporary table: rows of watch_counts), watched_subjects.
-- Parameters: none; slots: value (the column of the group), alike (columns whose values make jobs
--   alike: device model, quarter and, for parts, grade).
-- Columns: mode; value; failures, opportunities (units that have others to be compared with); unknown
--   (units); expected (failures, had those of all alike units fallen to each alike); shared (failures
--   of all alike units, its own among them); own_part (of the expected failures, those that its own
--   failures make one expect).
-- Fractions are added up as decimals: the same sum in whatever order.
-- Units of a value that is alone among its alike are left out: they tell nothing about it.
with
-- one row per (mode, value, alike units)
cells as (
  select
    subject,
    /*value*/ as value,
    /*alike*/ as alike,
    sum(failures) as failures,
    sum(opportunities) as opportunities,
    sum(unknown) as unknown
  from watched_groups
  group by all
),
-- one row per (mode, alike units): those of all values together
strata as (
  select
    subject,
    alike,
    sum(failures) as failures,
    sum(opportunities) as opportunities
  from cells
  group by subject, alike
),
-- one row per (mode, value)
compared as (
  select
    c.subject,
    c.value,
    cast(sum(c.failures) as bigint) as failures,
    cast(sum(c.opportunities) as bigint) as opportunities,
    cast(sum(c.unknown) as bigint) as unknown,
    cast(
      sum(cast(s.failures * c.opportunities / s.opportunities as decimal(38, 15))) as double
    ) as expected,
    cast(sum(s.failures) as bigint) as shared,
    cast(
      sum(cast(c.failures * c.opportunities / s.opportunities as decimal(38, 15))) as double
    ) as own_part
  from cells as c
  inner join strata as s on s.subject = c.subject and s.alike = c.alike
  where c.opportunities > 0 and c.opportunities < s.opportunities and c.value is not null
  group by c.subject, c.value
),
-- the same with the names
named as (
  select
    s.mode,
    c.* exclude (subject)
  from compared as c
  inner join watched_subjects as s on s.subject = c.subject
)
select * from named
order by mode, value

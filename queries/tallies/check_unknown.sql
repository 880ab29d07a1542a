-- Question: at how many of its units is a failure mode unknown by first choice, and why?
-- Grain: one row per mode with units.
-- Reads: modes, units_first, jobs, marks_first, records.covers.
-- Parameters: none.
-- Columns: mode; units; not_covered (the sheet did not say that the mode was looked for); missing
--   (covered, but a grade is missing, so nobody knows if it could happen); unchecked (neither, and
--   nobody looked on that job); unclear (none of these, but the sighting fits several pieces).
--   All count units; the four do not overlap and add up to the unknown units.
with
-- all units with what their sheet covers
units as (
  select
    u.target,
    u.entry,
    u.place,
    u.maybe,
    j.covers
  from units_first as u
  inner join jobs as j on j.entry = u.entry
),
-- one row per (target, covers, maybe): all units counted
total as (
  select
    target,
    covers,
    maybe,
    count(*) as units
  from units
  group by target, covers, maybe
),
-- the same by mode, as if no record had spoken of any unit
plain as (
  select
    m.mode,
    t.units,
    case when c.mode is null then t.units else 0 end as not_covered,
    case when c.mode is not null and t.maybe then t.units else 0 end as missing,
    0 as unchecked,
    0 as unclear
  from total as t
  inner join modes as m on m.target_first = t.target
  left join records.covers as c on c.covers = t.covers and c.mode = m.mode
),
-- units that a record speaks of: excluded ones are taken out again, doubtful ones are put right
spoken as (
  select
    k.mode,
    case when k.excluded then -1 else 0 end as units,
    case when k.excluded and c.mode is null then -1 else 0 end as not_covered,
    case when k.excluded and c.mode is not null and u.maybe then -1 else 0 end as missing,
    case
      when k.excluded or c.mode is null or u.maybe then 0
      when k.unchecked then 1
      else 0
    end as unchecked,
    case
      when k.excluded or c.mode is null or u.maybe or k.unchecked then 0
      when k.unclear then 1
      else 0
    end as unclear
  from marks_first as k
  inner join units as u on u.target = k.target and u.entry = k.entry and u.place = k.place
  left join records.covers as c on c.covers = u.covers and c.mode = k.mode
),
-- one row per mode
counted as (
  select
    mode,
    cast(sum(units) as bigint) as units,
    cast(sum(not_covered) as bigint) as not_covered,
    cast(sum(missing) as bigint) as missing,
    cast(sum(unchecked) as bigint) as unchecked,
    cast(sum(unclear) as bigint) as unclear
  from (select * from plain union all select * from spoken) as both_parts
  group by mode
)
select * from counted
where units > 0
order by mode

-- Question: how often did each mode asked for go wrong, out of how many opportunities?
-- Grain: one row per (mode, keys, technician).
-- Reads: asked_modes, asked_totals, asked_marks (temporary tables made by the statements totals_*
--   and marks_*), records.covers.
-- Parameters: none; the slot keys takes quoted names of columns of asked_units.
-- Columns: mode; the keys; cluster (technician); failures, opportunities, unknown, unknown_failed
--   (units).
-- Jobs with a failure, an unchecked mode or damage at intake are few: all units are counted first
-- without looking at them, then the few are put right. Ten times faster than asking each unit.
with
-- all units by mode, as if no record had spoken of any unit
plain as (
  select
    m.mode,
    /*keys*/
    t.cluster,
    0 as failures,
    case when c.mode is null or t.maybe then 0 else t.units end as opportunities,
    case when c.mode is null or t.maybe then t.units else 0 end as unknown,
    0 as unknown_failed
  from asked_totals as t
  inner join asked_modes as m on m.target = t.target
  left join records.covers as c on c.covers = t.covers and c.mode = m.mode
),
-- the units that a record speaks of, with how "plain" counted them and how they are
spoken as (
  select
    k.mode,
    /*keys*/
    k.cluster,
    k.seen or k.unclear as seen,
    k.excluded,
    k.units,
    c.mode is null or k.maybe as doubt_before,
    c.mode is null or k.maybe or k.unchecked or k.unclear as doubt
  from asked_marks as k
  left join records.covers as c on c.covers = k.covers and c.mode = k.mode
),
-- what those units change
change as (
  select
    mode,
    /*keys*/
    cluster,
    case when seen and not doubt and not excluded then units else 0 end as failures,
    case when doubt or excluded then 0 else units end
      - case when doubt_before then 0 else units end as opportunities,
    case when doubt and not excluded then units else 0 end
      - case when doubt_before then units else 0 end as unknown,
    case when seen and doubt and not excluded then units else 0 end as unknown_failed
  from spoken
),
-- one row per (mode, keys, technician)
by_cluster as (
  select
    mode,
    /*keys*/
    cluster,
    sum(failures) as failures,
    sum(opportunities) as opportunities,
    sum(unknown) as unknown,
    sum(unknown_failed) as unknown_failed
  from (select * from plain union all select * from change) as both_parts
  group by all
)
select * from by_cluster

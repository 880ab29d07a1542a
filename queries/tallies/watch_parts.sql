-- Question: of which parts do the records name suppliers and lots?
-- Grain: one row per part with a supplier or lot named from since on.
-- Reads: jobs, pieces.
-- Parameters: since (first day of hand-over).
-- Columns: part; suppliers, lots (pieces of which it is named).
with
-- one row per part
named as (
  select
    p.part,
    count(p.supplier) as suppliers,
    count(p.lot) as lots
  from pieces as p
  inner join jobs as j on j.entry = p.entry
  where j.finished >= $since and p.fitted
  group by p.part
)
select * from named
where suppliers > 0 or lots > 0
order by part

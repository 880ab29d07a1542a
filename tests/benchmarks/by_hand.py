"""The best SQL by hand for the counts of ``rates --by model,opening``, as a program of its own.

It knows the demo's catalogue by heart (at which steps each mode of the opening can occur), that
every mode is covered by the sheet and that no name has another spelling, and it counts no
technicians: what a good analyst would write for this one question, on the same tables.
"""

import sys

import duckdb

MODES = {
    "clip_snapped": ["opening", "resealing"],
    "display_lines": ["opening", "display_handling", "resealing"],
    "glass_cracked": ["opening", "resealing"],
    "frame_parted": ["opening"],
    "heat_mark": ["opening"],
    "cell_pierced": ["opening", "battery_release", "glass_removal"],
    "flex_cut": ["opening", "battery_release", "glass_removal"],
    "button_flex_torn": ["opening", "battery_release"],
    "frame_bent": ["opening", "battery_release"],
}
SQL = """
with
steps(mode, step) as (values {steps}),
applies as (
  select distinct s.mode, p.plan from steps as s inner join records.plans as p on p.step = s.step
),
opened as (
  select a.plan, any_value(o.plan) is not null as done, any_value(o.method) as method
  from (select distinct plan from records.plans) as a
  left join records.plans as o on o.plan = a.plan and o.step = 'opening'
  group by a.plan
),
jobs as (select plan, model, count(*) as jobs from records.jobs group by plan, model),
units as (
  select a.mode, j.model, j.plan, j.jobs as opportunities, 0 as failures, 0 as unknown
  from jobs as j inner join applies as a on a.plan = j.plan
),
marks as (
  select entry, mode, 1 as seen, 0 as unchecked, 0 as there from records.failures
  union all
  select u.entry, m.mode, 0, 1, 0
  from records.unchecked as u
  inner join (select distinct mode from steps) as m on u.mode in (m.mode, '*')
  union all
  select entry, mode, 0, 0, 1 from records.preexisting
),
flags as (
  select m.entry, m.mode, max(seen) as seen, max(unchecked) as unchecked, max(there) as there
  from marks as m
  where m.mode in (select mode from steps)
  group by m.entry, m.mode
),
changes as (
  select
    f.mode, j.model, j.plan,
    -greatest(f.there, f.unchecked) as opportunities,
    f.seen * (1 - f.there) * (1 - f.unchecked) as failures,
    f.unchecked * (1 - f.there) as unknown
  from flags as f
  inner join records.jobs as j on j.entry = f.entry
  inner join applies as a on a.plan = j.plan and a.mode = f.mode
)
select
  u.mode, u.model, case when o.done then o.method else '-' end as opening,
  sum(u.failures) as failures, sum(u.opportunities) as opportunities, sum(u.unknown) as unknown
from (select * from units union all select * from changes) as u
inner join opened as o on o.plan = u.plan
group by all
order by all
"""


def count(database: str) -> list[tuple[object, ...]]:
    """Rows (mode, model, opening, failures, opportunities, unknown)."""
    values = ", ".join(f"('{mode}', '{step}')" for mode, steps in MODES.items() for step in steps)
    con = duckdb.connect(database, read_only=True)
    return con.execute(SQL.format(steps=values)).fetchall()


if __name__ == "__main__":
    for row in count(sys.argv[1]):
        print(*row, sep=",")

"""The best SQL by hand for the at-risk table behind ``comebacks --by battery_grade``.

A program of its own, on the same tables. It knows that no name has another spelling: what a good
analyst would write for this one question.
"""

import sys

import duckdb

SQL = """
with
ends as (
  select branch, greatest(max(finished), max(received), max(returned)) as watched
  from records.jobs group by branch
),
again as (
  select branch, return_of as job, min(coalesce(received, finished)) as came
  from records.jobs where return_of is not null group by branch, return_of
),
later as (
  select entry, piece - 1 as piece from records.pieces where part = 'battery' and piece > 1
),
fitted as (
  select p.entry, p.grade
  from records.pieces as p left join later as l on l.entry = p.entry and l.piece = p.piece
  where p.fitted and p.part = 'battery' and l.entry is null
),
followed as (
  select
    case when f.entry is null then '-' else f.grade end as battery_grade,
    least(e.watched - j.finished, 90) as last_day,
    least(j.returned, greatest(a.came, case when a.came is not null then j.finished end))
      - j.finished as back,
    case when a.came is null or j.returned <= a.came then j.return_reason end as reason
  from records.jobs as j
  inner join ends as e on e.branch is not distinct from j.branch
  left join again as a on a.branch is not distinct from j.branch and a.job = j.job
  left join fitted as f on f.entry = j.entry
  where j.outcome = 'completed' and j.return_of is null
),
leaving as (
  select
    battery_grade, least(last_day, coalesce(back, last_day)) as day,
    case when back <= last_day then coalesce(reason, '') end as reason, count(*) as jobs
  from followed
  group by all
)
select *, sum(jobs) over (partition by battery_grade order by day desc) as at_risk
from leaving
order by all
"""


def count(database: str) -> list[tuple[object, ...]]:
    """Rows (battery_grade, day, reason, jobs, at_risk)."""
    return duckdb.connect(database, read_only=True).execute(SQL).fetchall()


if __name__ == "__main__":
    for row in count(sys.argv[1]):
        print(*row, sep=",")

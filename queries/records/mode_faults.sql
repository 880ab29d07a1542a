-- Does: notes failures that cannot have occurred on the job they are noted for.
-- Reads: suspects (combinations with failures), sightings, some_attempts, some_pieces, the catalogue.
-- Writes: faults. Parameter: unrecorded (grade of a part nobody wrote down, or null).
-- Slot prior_repair: that column of suspects, or null.
insert into faults (row, col, value, reason)
with
-- one row a sighting
seen as (
  select s.row, s.failures, g.mode, g.place, g.number
  from suspects as s join sightings as g on g.failures = s.failures
),
-- one row a sighting and an attempt or fitted piece where it can have been
candidates as (
  select
    f.row, f.mode, f.place, f.number, a.attempt as number_here, a.method as option
  from seen as f
  join mode_steps as m on m.mode = f.mode and (f.place = '' or m.step = f.place)
  join some_attempts as a on a.row = f.row and a.step = m.step
  union all
  select f.row, f.mode, f.place, f.number, p.piece, p.grade
  from seen as f
  join mode_parts as m on m.mode = f.mode and (f.place = '' or m.part = f.place)
  join some_pieces as p on p.row = f.row and p.part = m.part and p.fitted
),
-- one row a mode that is limited, and an option it is limited to
limits as (
  select mode, method as option from mode_methods
  union all
  select mode, grade from mode_grades
),
-- one row a sighting: how many candidates there are, and how many fit
weighed as (
  select
    f.row, f.failures, f.mode, f.place, f.number,
    count(c.number_here) as there,
    count(c.number_here) filter (f.number in (0, c.number_here)) as numbered,
    count(c.number_here) filter (
      f.number in (0, c.number_here)
      and (f.mode not in (select mode from limits) or c.option is null
        or exists (select 1 from limits as l where l.mode = f.mode and l.option = c.option))
    ) as fitting
  from seen as f
  left join candidates as c
    on c.row = f.row and c.mode = f.mode and c.place = f.place and c.number = f.number
  where f.mode not in (select mode from mode_mixed)
  group by all
),
-- one row a sighting of a mixed mode and a named part: its grade, as far as known
mixed as (
  select
    f.row, f.failures, f.mode, m.part,
    count(p.piece) as pieces,
    case when count(p.piece) > 0
      then arg_min(coalesce(p.grade, ''), case when p.fitted then p.piece else 1000 + p.piece end)
      when any_value(/*prior_repair*/) = 'no' then $unrecorded end as grade
  from seen as f
  join mode_mixed as m on m.mode = f.mode
  join suspects as s on s.row = f.row
  left join some_pieces as p on p.row = f.row and p.part = m.part
  group by all
),
-- one row a sighting of a mixed mode
mixed_jobs as (
  select
    x.row, x.failures, x.mode, sum(x.pieces) as pieces,
    count(*) filter (g.origin is null) as missing, count(distinct g.origin) as origins,
    string_agg(x.part, ', ' order by x.part) as parts
  from mixed as x
  left join grades as g on g.grade = nullif(x.grade, '')
  group by all
),
-- the words
found as (
  select row, failures,
    case
      when there = 0 and place <> ''
        then mode || ' cannot have occurred: nothing was done at ' || place || ' or fitted there'
      when there = 0 then mode || ' cannot occur in this repair: none of '
        || (select string_agg(place, ', ' order by place) from mode_places as m
            where m.mode = w.mode) || ' was done or fitted'
      when numbered = 0
        then mode || ': there is no attempt or piece ' || number || ', only ' || there
      when fitting = 0 then mode || ' occurs only with '
        || (select string_agg(option, ', ' order by option) from limits as l
            where l.mode = w.mode)
    end as reason
  from weighed as w
  union all
  select row, failures,
    case
      when pieces = 0 then mode || ' cannot occur: no piece of ' || parts || ' on this job'
      when missing = 0 and origins < 2
        then mode || ' cannot occur: the grades of ' || parts || ' are of one origin'
    end
  from mixed_jobs
)
select unnest(s.rows), 'failures', f.failures, f.reason
from found as f
join suspects as s on s.row = f.row
where f.reason is not null

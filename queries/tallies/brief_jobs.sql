-- Question: how many jobs of one repair were there, how many went back unrepaired, and how many
--   devices came back?
-- Grain: one row per model.
-- Reads: jobs, followups.
-- Parameters: repair (jobs asked for this and nothing else), days (of follow-up).
-- Columns: model; jobs (come-backs themselves left out, as in the next ones); unrepaired (jobs
--   abandoned or handed back unrepaired); followed (completed jobs that were watched for all these
--   days); returns (of the followed, jobs: came back within the days, and not for something else).
-- A job handed over later than that many days before the records end is left out of `followed`
-- whether its device came back or not, so that the share of the others needs no correction.
select
  j.model,
  count(*) as jobs,
  sum(case when j.outcome <> 'completed' then 1 else 0 end) as unrepaired,
  sum(case when f.days_watched >= $days then 1 else 0 end) as followed,
  sum(
    case
      when f.days_watched >= $days and f.days_back <= $days
        and coalesce(f.reason, '') <> 'unrelated' then 1
      else 0
    end
  ) as returns
from jobs as j
left join followups as f on f.entry = j.entry
where j.repair = $repair and j.rework = 'no'
group by j.model

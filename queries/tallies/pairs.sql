-- Question: how often did parts of two grades conflict, out of how many jobs with that pair?
-- Grain: one row per (mode, keys, pair of parts with their grades, technician); rows overlap, since
--   a job with three parts has up to three pairs and a conflict seen counts for each that differs.
-- Reads: asked_modes, mixed_pairs, asked_jobs.
-- Parameters: none; the slot keys takes quoted names of columns of asked_jobs.
-- Columns: mode; the keys; part_a, grade_a, part_b, grade_b (grade null: not known); cluster
--   (technician); failures, opportunities, unknown, unknown_failed (pairs).
with
-- one row per (mode, keys, pair, technician)
by_cluster as (
  select
    p.mode,
    /*keys*/
    p.part_a,
    p.grade_a,
    p.part_b,
    p.grade_b,
    j.cluster,
    sum(case when p.doubt = 0 then p.seen else 0 end) as failures,
    sum(1 - p.doubt) as opportunities,
    sum(p.doubt) as unknown,
    sum(p.doubt * p.seen) as unknown_failed
  from mixed_pairs as p
  inner join asked_modes as m on m.mode = p.mode
  inner join asked_jobs as j on j.entry = p.entry
  group by all
)
select * from by_cluster

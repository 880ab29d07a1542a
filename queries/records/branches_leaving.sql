-- Question: in which branches does a job stand?
-- Grain: one row a branch. Reads: leaving. Columns: branch.
select distinct branch from leaving order by branch

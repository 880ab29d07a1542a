-- Does: takes out the second and further of identical rows of one job.
-- Reads: twice. Reads and writes: sheet.
delete from sheet where row in (select row from twice where same and later)

-- Question: which different jobs have failures, as far as failures can depend on a job?
-- Grain: one row a combination; a large shop has far fewer of them than jobs.
-- Reads: sheet, faults. Slot columns: steps, parts and what else the rules of failures look at.
-- Columns: row (of the first such job), rows (of all), failures, and the columns.
create or replace temp table suspects as
select min(row) as row, list(row) as rows, failures, /*columns*/
from sheet
where failures is not null and row not in (select row from faults)
group by failures, /*columns*/

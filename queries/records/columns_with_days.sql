-- Question: in which columns could any date be read?
-- Grain: one row a column. Reads: days. Columns: col.
select distinct col from days

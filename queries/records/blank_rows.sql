-- Does: takes out rows in which nothing is filled in.
-- Reads and writes: sheet. Slot columns: those of the file.
delete from sheet where job is null and coalesce(/*columns*/) is null

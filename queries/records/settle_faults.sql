-- Does: leaves no faults of rows that are gone, and only one of rows that are wrong as a whole.
-- Reads: sheet, faults. Writes: faults.
delete from faults
where row not in (select row from sheet)
  or (coalesce(not whole, true) and row in (select row from faults where whole))

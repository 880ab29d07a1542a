"""The way in: job sheets, mappings, held-back rows, imports, privacy; all that writes."""

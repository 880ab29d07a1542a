"""The bare import: DuckDB reads the sheet into a table, nothing else."""

import sys

import duckdb

con = duckdb.connect(sys.argv[1])
con.execute("create table sheet as select * from read_csv($1)", [sys.argv[2]])
con.close()

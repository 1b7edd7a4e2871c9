"""Many boats: the same questions put to thousands of logs, side by side.

logs     which logs there are: a folder, a pattern, an object store
look     one log: copied, looked through, asked; what a worker does
pool     who works: processes of this machine, or Dask's workers
run      all of them: what is known already is not done again, what cannot be read is skipped
compare  boats against each other: consumption at equal displacement-length, what to look at first
tables   the results as rows;  keep: rows to Parquet files or a database

A result belongs to a log's content and this program's version (its key), wherever the log lies.
"""

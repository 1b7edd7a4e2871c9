"""Logs out of the boat and in again: CSV, Parquet, GPX, and the log itself.

Each form is one module with plain functions that write to a binary stream and read back; `rows`
is what they share: the readings as rows, one a time, by boot. What a form keeps:

csv_table      readings, boots and their dates; not their resolution, flags or trips
parquet_days   readings and small tables (flags, trips, what was learned, boat files) as they are
gpx_track      positions, and what the same receiver said with them
packed_log     everything, thinned stretches with their extremes too
"""

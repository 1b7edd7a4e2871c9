"""The commands of `keelwatt`, one file for those that belong together.

Each file has `add(parsers)`, which adds its sub-commands; each sub-command sets `run`, called
with the parsed options, which returns the exit status.
"""

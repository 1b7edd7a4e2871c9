"""The commands of `keelwatt`, one file for those that belong together.

Each file has `COMMANDS`: name, help, example and arguments, and what runs with the parsed options
and returns the exit status.
"""

"""A damaged log: set aside, and what of it can still be read brought into a sound one."""

LOWEST_PRIORITY = 19  # of a process, by definition (POSIX): recording goes first

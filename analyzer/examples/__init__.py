"""Plain scripts to begin with."""

"""A log as files, in a database and at a broker: what leaves it, and what comes back."""

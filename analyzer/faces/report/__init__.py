"""A trip's printed report."""

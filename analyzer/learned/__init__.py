"""What is kept in the log between runs."""

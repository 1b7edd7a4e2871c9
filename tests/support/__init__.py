"""What several tests share; no test imports another."""

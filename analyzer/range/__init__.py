"""How far: Monte Carlo samples, discharge, reach, home, passages, hindcast."""

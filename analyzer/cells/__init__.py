"""Which cell falls behind, and why."""

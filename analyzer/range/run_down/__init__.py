"""How long a pack lasts at a load, and what ends it."""

"""Stream, wind and sun."""

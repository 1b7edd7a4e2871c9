"""Channels on one clock, derived channels, and the operating point."""

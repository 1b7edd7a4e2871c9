"""Recorded files as sources."""

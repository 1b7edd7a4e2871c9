"""Flags, their detectors, and following a log as it grows."""

"""Bytes to readings, one file per protocol."""

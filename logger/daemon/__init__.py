"""The recorder: configuration, sources to store, health, housekeeping."""

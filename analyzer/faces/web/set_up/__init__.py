"""The boat file as forms."""

"""Recordings played back as sources, and the invented boat."""

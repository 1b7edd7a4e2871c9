"""Faces of the answers: command line, HTTP, pages, reports. Formatting only."""

"""Invented boats by number and by kind, with known truth, built on `replay/boatsim`."""

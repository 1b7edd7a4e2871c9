"""The invented boat: makes the demo's recording, and voyages with known truth for tests.

Its physics shares no code with `analyzer`. `python -m replay.boatsim --out DIR` writes the demo.
"""

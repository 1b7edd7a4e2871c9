"""The invented boat: makes the demo's recording; `tests/boats` draws others from it.

Its physics shares no code with `analyzer`. `python -m replay.boatsim --out DIR` writes the demo.
"""

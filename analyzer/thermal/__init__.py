"""Cables, lugs, contactor, motor and controller: how they heat."""

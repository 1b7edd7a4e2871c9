"""Trips and legs, energy ledger, and the account of the sag."""

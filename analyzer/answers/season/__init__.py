"""A season: everything that its trips have found, put together."""

"""Laws of the invented boat's parts: hull, drive, pack, cables, and the water and air around."""

"""Health of cells, cables, pack and hull: now, and from trip to trip."""

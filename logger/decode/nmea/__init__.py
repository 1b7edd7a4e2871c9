"""Sentences of NMEA 0183 to readings."""

"""Frames of CAN, NMEA 2000, J1939 and CANopen to readings."""

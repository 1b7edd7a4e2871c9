"""Short boat files: the least that says anything, and one with a bit of everything. Invented."""

AH = 200
BOAT_TEXT = f"""name = "invented"
[hull]
waterline_m = 7.0
beam_waterline_m = 2.3
draught_m = 1.2
displacement_kg = 3000
[pack]
chemistry = "lfp"
cells_in_series = 16
rated_capacity_ah = {AH}
[motor]
rated_power_w = 6000
"""

GOOD = """
name = "Test boat"

[hull]
waterline_m = 7.2
beam_waterline_m = 2.3
draught_m = 1.3
displacement_kg = 2600

[pack]
chemistry = "lfp"
cells_in_series = 16
rated_capacity_ah = 100

[motor]
rated_power_w = 5000

[[cable]]
name = "positive"
size_mm2 = 35
length_m = 2

[[cable]]
name = "negative"
size_awg = 2
length_m = 2
partner = "positive"

[[source]]
name = "gps"
kind = "nmea0183"
[source.options]
port = "/dev/ttyUSB0"
"""

"""Column maps for the open data, as a user would write them."""

ROAD_TRIP = """
[time]
column = "time_s"
unit = "s"
[[column]]
column = "battery_voltage_V"
channel = "pack_voltage_v"
[[column]]
column = "discharge_current_A"
channel = "pack_current_a"
optional = true
[[column]]
column = "soc_percent"
channel = "pack_soc_frac"
unit = "%"
optional = true
[[column]]
column = "speed_km_h"
channel = "speed_ground_mps"
unit = "km/h"
[[column]]
column = "battery_temp_C"
channel = "pack_temp_c"
optional = true
"""

"""A boat file to begin with: every key that matters, explained, with numbers to be replaced."""

from collections.abc import Iterable

from logger.discover.ports import Device

_HEAD = """\
# The boat, for keelwatt. Lines that begin with # are remarks; take the # away to use a line.
# Every key ends in its unit: waterline_m is in metres. keelwatt says the right key and the
# converted value where another unit is used. The numbers below are examples of no real boat:
# replace each by your own.

name = "My boat"
# log_path = "log.sqlite"      # where the log goes, beside this file
# log_limit_mb = 4000          # older full-rate readings are thinned beyond this; trips stay
# full_rate_days = 90          # younger readings are never thinned
# flush_s = 1.0                # at most this much is lost when the power goes
# engine_space_temp_c = 50     # how hot it gets where the motor is; cables there carry less

[hull]
kind = "fin_keel"              # long_keel, fin_keel, light_keel, catamaran, motor_launch
waterline_m = 7.5              # length on the waterline
beam_waterline_m = 2.3         # greatest breadth on the waterline
draught_m = 1.3                # with keel
displacement_kg = 3000         # as it floats, with crew and gear
# body_draught_m = 0.45        # without keel
# wetted_area_m2 = 17
# windage_area_m2 = 5          # what the wind meets from ahead, mast and rigging too
# cruising_speed_mps = 2.3     # usual speed under motor; 1 knot is 0.514 m/s
# water_density_kg_m3 = 1025   # sea; 1000 on lakes and rivers, 1005 to 1010 in brackish water

[pack]
chemistry = "lfp"              # lfp, nmc, lead_acid (flooded), agm or gel
cells_in_series = 16           # a 12.8 V lfp battery has 4, a 12 V lead-acid battery 6
rated_capacity_ah = 100        # of the string; batteries side by side add up
# age_years = 3                # of the cells when recording began: older ones hold less
nominal_voltage_v = 51.2       # as on the label
# blocks_in_series = 4         # if it is made of factory batteries
# cell_cutoff_v = 2.5          # where the protection opens
# cell_full_v = 3.65
# max_discharge_a = 150        # continuous, the protection's or maker's
# max_charge_a = 50
# max_temp_c = 55

[motor]
rated_power_w = 5000
# max_current_a = 120          # the controller's limit on what it takes from the pack
gear_ratio = 1.0               # motor turns per shaft turn
# propeller_diameter_m = 0.38
# propeller_pitch_m = 0.28
# propeller_blades = 3
# cutback_v = 46               # the controller gives less power below this
# shutdown_v = 42              # and stops below this
# motor_max_temp_c = 110
# controller_max_temp_c = 85

# One [[cable]] for each run that carries the motor's current.
[[cable]]
name = "positive"
size_mm2 = 50                  # or: size_awg = "1/0"
length_m = 2.5                 # one way
insulation_rating_c = 90       # printed on the cable
# in_engine_space = true
# fuse_a = 150
# probe = "motor_lug"          # its channel is probe_motor_lug_temp_c
# probe_at = "lug"             # lug, cable, contactor, shunt
partner = "negative"           # the other pole, to compare with

[[cable]]
name = "negative"
size_mm2 = 50
length_m = 2.5
partner = "positive"

[hotel]
power_w = 25                   # typical use of everything but the motor
measured_in_pack_current = true  # false: it bypasses the shunt

[solar]
peak_w = 0

# [home]                       # where you want to be able to return to
# name = "home"
# latitude_deg = 0.0           # north positive
# longitude_deg = 0.0          # east positive

[reserve]
soc_frac = 0.2                 # what must be left on arrival: 0.2 is 20 %
return_sureness_frac = 0.98    # how sure "you can still get home" has to be
"""

_SOURCES = """
# One [[source]] for each way in; keelwatt check lists the ports and buses it finds. Examples:
#
# [[source]]
# name = "gps"
# kind = "nmea0183"
# [source.options]
# port = "{port}"
# baud = 4800
#
# [[source]]
# name = "motor"
# kind = "can"
# [source.options]
# interface = "socketcan"
# channel = "{bus}"
# decode = [{{dbc = "motor.dbc"}}]   # the controller maker's file, beside this one; or "nmea2000"
# [source.options.signals]         # the names are those of the DBC file
# "Message.Signal" = {{channel = "pack_current_a", sign = 1}}   # positive when the pack gives
#
# [[source]]
# name = "board"
# kind = "sensors"                 # 1-wire probes and analogue inputs of this computer
# [[source.options.probe]]
# w1 = "{probe}"
# channel = "probe_motor_lug_temp_c"
#
# [[source]]
# name = "shunt"
# kind = "text"                    # a device that sends lines of text
# [source.options]
# port = "/dev/ttyUSB1"
# baud = 9600
# pattern = 'V=(?P<volts>[-\\d.]+) A=(?P<amps>[-\\d.]+)'
# [source.options.signals]
# volts = {{channel = "pack_voltage_v", unit = "mV"}}
# amps = {{channel = "pack_current_a", unit = "mA", sign = -1}}

# What your controller's fault numbers mean, from its manual:
# [fault_text]
# "17" = "controller too hot"

# Ways out for flags and figures: other displays, or a command of your own.
# [[tell]]
# kind = "udp"                     # NMEA 0183 lines; or "tcp", or "command". Lines are ALR for
#                                  # flags, RPM for the shaft, XDR for the pack, charge and range
# host = "192.168.1.255"
# port = 10110
"""


def starter_text(devices: Iterable[Device] = ()) -> str:
    """A commented boat.toml that loads as it is.

    Args:
        devices: What was found on this computer; the examples then name it.
    """
    found = list(devices)
    listed = "".join(f"#   {device.sentence}\n" for device in found)
    listed = f"\n# Found on this computer:\n{listed}" if listed else ""
    port = _first(found, "serial", "/dev/ttyUSB0")
    bus, probe = _first(found, "can", "can0"), _first(found, "1-wire", "28-000000000000")
    return _HEAD + listed + _SOURCES.format(port=port, bus=bus, probe=probe)


def _first(devices: list[Device], kind: str, otherwise: str) -> str:
    names = [d.stable_name or d.name for d in devices if d.kind == kind]
    return names[0] if names else otherwise

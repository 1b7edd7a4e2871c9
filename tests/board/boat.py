"""The boat file of the board: the demo's boat with its sources where this board has them."""

import re

from feeds import DEMO

BUS = "can_motor"
SENSORS = "/run/board-sensors"
GPS = '"/dev/keelwatt/gps"'
PROBES = f"""
[[source]]
name = "probes"
kind = "sensors"
[source.options]
root = "{SENSORS}"
[[source.options.probe]]
w1 = "28-0316a2794eff"
channel = "probe_motor_lug_temp_c"
[[source.options.probe]]
iio = "ads1115"
input = "in_voltage0"
factor = 16.0
unit = "mV"
channel = "other_converter_voltage_v"
"""
# The form in which Linux shows a DS18B20 (Documentation/w1/slaves/w1_therm) and an IIO converter
# (Documentation/ABI/testing/sysfs-bus-iio). 0x0170 sixteenths of a degree are 23 °C; the last byte
# of nine is the check sum over the eight before (1-wire's CRC-8, x^8 + x^5 + x^4 + 1).
SENSOR_TREE = f"""
set -e
w1={SENSORS}/bus/w1/devices/28-0316a2794eff
iio={SENSORS}/bus/iio/devices/iio:device0
mkdir -p $w1 $iio
printf '70 01 4b 46 7f ff 0c 10 %s : crc=%s YES\\n70 01 4b 46 7f ff 0c 10 %s t=23000\\n' \\
    CRC CRC CRC >$w1/w1_slave
echo 23000 >$w1/temperature
echo ads1115 >$iio/name
echo 1650 >$iio/in_voltage0_raw
echo 2.0 >$iio/in_voltage0_scale
"""


def crc8(data: bytes) -> int:
    """1-wire's check sum (Maxim application note 27)."""
    crc = 0
    for byte in data:
        for _ in range(8):
            odd = (crc ^ byte) & 1
            crc = (crc >> 1) ^ (0x8C if odd else 0)
            byte >>= 1
    return crc


def sensor_tree() -> str:
    """Shell lines that make a 1-wire probe at 23 °C and a converter at 3.3 V."""
    crc = crc8(bytes.fromhex("70 01 4b 46 7f ff 0c 10"))
    return SENSOR_TREE.replace("CRC", f"{crc:02x}")


def boat_file() -> str:
    """The demo's, with this board's ports, and its own sensors beside."""
    text = (DEMO / "boat.toml").read_text()
    text = re.sub(r'channel = "can0"', f'channel = "{BUS}"', text)
    text = re.sub(r'port = "/dev/ttyUSB0"', f"port = {GPS}", text)
    if BUS not in text or GPS not in text:
        raise SystemExit("the demo's boat file names its ports in another way now")
    return text + PROBES


LOAD_DBC = """VERSION ""
NS_ :
BS_:
BU_: ECU
""" + "".join(
    f"""
BO_ {0x100 + n} Load{n}: 8 ECU
 SG_ Number{n} : 0|32@1+ (1,0) [0|4294967295] "" ECU
 SG_ Low{n} : 32|16@1+ (0.01,0) [0|655.35] "V" ECU
 SG_ High{n} : 48|16@1+ (0.01,0) [0|655.35] "V" ECU
"""
    for n in range(10)
)


def load_boat_file() -> str:
    """The same boat whose bus carries ten busy messages: three signals each, all kept."""
    head = (DEMO / "boat.toml").read_text().split("[[source]]")[0]
    signals = "".join(
        f'"Load{n}.Number{n}" = {{ channel = "other_number_{n}_count" }}\n'
        f'"Load{n}.Low{n}" = {{ channel = "other_low_{n}_voltage_v" }}\n'
        f'"Load{n}.High{n}" = {{ channel = "other_high_{n}_voltage_v" }}\n'
        for n in range(10)
    )
    return f"""{head}
[[source]]
name = "can0"
kind = "can"
[source.options]
interface = "socketcan"
channel = "{BUS}"
bitrate = 500000
max_hz = 10
full_rate = ["Load0", "Load1"]
decode = [{{ dbc = "load.dbc" }}]
[source.options.signals]
{signals}
[[source]]
name = "gps"
kind = "nmea0183"
[source.options]
port = {GPS}
baud = 4800
"""

"""Recordings as text: candump lines and NMEA 0183 sentences."""

import functools
import math
import operator
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from replay.boatsim.instruments.wire import Bytes

Floats = npt.NDArray[np.float64]
Stamped = tuple[float, str]
KN = 1852 / 3600  # by definition


def candump(t_utc_s: Floats, frame_id: int, data: Bytes, port: str = "can0") -> list[Stamped]:
    """Lines of one message, each with its time."""
    size = data.shape[1] * 2
    text = data.tobytes().hex().upper()
    return [
        (t, f"({t:.6f}) {port} {frame_id:03X}#{text[k * size : (k + 1) * size]}\n")
        for k, t in enumerate(t_utc_s.tolist())
    ]


def sentence(body: str) -> str:
    """The body between $ and *, with its checksum."""
    total = functools.reduce(operator.xor, body.encode("ascii"), 0)
    return f"${body}*{total:02X}"


def _angle(deg: float, width: int, marks: str) -> str:
    """ddmm.mmmmm and hemisphere."""
    mark = marks[0] if deg >= 0 else marks[1]
    units = round(abs(deg) * 60 * 100000)
    whole, rest = divmod(units, 60 * 100000)
    return f"{whole:0{width}d}{rest / 100000:08.5f},{mark}"


def rmc(t_utc_s: float, lat: float, lon: float, speed_mps: float, course_deg: float) -> str:
    """Position, speed, course and date; void and empty without a fix."""
    when = datetime.fromtimestamp(t_utc_s, UTC)
    clock = f"{when:%H%M%S}.{when.microsecond // 10000:02d}"
    if math.isnan(lat):
        return sentence(f"GPRMC,{clock},V,,,,,,,{when:%d%m%y},,,N")
    course = f"{course_deg % 360:.1f}" if speed_mps > 0.15 else ""
    where = f"{_angle(lat, 2, 'NS')},{_angle(lon, 3, 'EW')}"
    return sentence(f"GPRMC,{clock},A,{where},{speed_mps / KN:.2f},{course},{when:%d%m%y},,,A")


def vtg(speed_mps: float, course_deg: float) -> str:
    """Course and speed over ground."""
    if math.isnan(speed_mps):
        return sentence("GPVTG,,T,,M,,N,,K,N")
    course = f"{course_deg % 360:.1f}" if speed_mps > 0.15 else ""
    return sentence(f"GPVTG,{course},T,,M,{speed_mps / KN:.2f},N,{speed_mps * 3.6:.2f},K,A")


def hdg(magnetic_deg: float, variation_deg: float) -> str:
    """Magnetic heading with variation."""
    mark = "E" if variation_deg >= 0 else "W"
    return sentence(f"HCHDG,{magnetic_deg % 360:.1f},,,{abs(variation_deg):.1f},{mark}")


def vhw(speed_mps: float) -> str:
    """Speed through water."""
    return sentence(f"VWVHW,,T,,M,{speed_mps / KN:.2f},N,{speed_mps * 3.6:.2f},K")


def mtw(temp_c: float) -> str:
    """Water temperature."""
    return sentence(f"YXMTW,{temp_c:.1f},C")

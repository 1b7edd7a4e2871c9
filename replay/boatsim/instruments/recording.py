"""From an outing to files: a CAN recording, NMEA 0183 lines, the DBC."""

import gzip
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import zstandard

from replay.boatsim.instruments import lines, sensors
from replay.boatsim.instruments.wire import MESSAGES, Message, dbc_text, encode
from replay.boatsim.outing import Outing
from replay.boatsim.physics.place import Place

Floats = npt.NDArray[np.float64]

LOST_FRAMES = 0.0015  # share of frames that never arrive, assumed
ABSENT_PROBE = 0.001  # share of probe values that are "no measurement", assumed


@dataclass(frozen=True)
class Setting:
    """Where and when an outing was recorded, and what the recorder missed of it.

    Args:
        gps_gap: Steps without a fix, first and end. bus_holes: seconds without a CAN frame.
    """

    place: Place
    start_utc_s: float
    gps_gap: tuple[int, int] | None = None
    bus_holes: Sequence[tuple[float, float]] = ()


def message_times(
    message: Message,
    length_s: float,
    rng: np.random.Generator,
    holes: Sequence[tuple[float, float]],
) -> Floats:
    """When a message's frames arrive: its period, a little jitter, some lost. [s]"""
    n = int(length_s / message.period_s)
    phase = float(rng.uniform(0, message.period_s))
    drift = 1 + float(rng.normal(0, 2e-5))
    late = np.abs(rng.normal(0, 3e-4, n))
    t = phase + np.arange(n) * message.period_s * drift + late
    keep = rng.random(n) > LOST_FRAMES
    for start, end in holes:
        keep &= (t < start) | (t >= end)
    keep &= t < length_s
    return np.round(t[keep], 4)


def can_lines(outing: Outing, setting: Setting, rng: np.random.Generator) -> Iterator[str]:
    """All CAN frames in time order, as candump writes them."""
    grid = np.arange(outing.n) * outing.motion.dt_s
    true = sensors.truth(outing)
    senses = sensors.electric(outing)
    stamped: list[lines.Stamped] = []
    for message in MESSAGES:
        t = message_times(message, float(grid[-1]), rng, setting.bus_holes)
        values: dict[str, Floats] = {}
        for s in message.signals:
            at_times = np.interp(t, grid, true[s.channel])
            read = senses[s.channel](at_times, rng)
            if s.channel.startswith("probe_"):
                read[rng.random(len(t)) < ABSENT_PROBE] = np.nan
            values[s.channel] = read
        frames = encode(message, values)
        stamped += lines.candump(setting.start_utc_s + t, message.frame_id, frames)
    stamped.sort()
    return (text for _, text in stamped)


def nmea_lines(outing: Outing, setting: Setting, rng: np.random.Generator) -> Iterator[str]:
    """The instruments' sentences, each led by the logger's time of arrival."""
    read = sensors.navigation(outing, setting.place, rng, setting.gps_gap)
    nav = {name: values.tolist() for name, values in read.items()}
    late = (0.085 + 0.012 * rng.random(outing.n)).tolist()
    for k in range(outing.n):
        t = setting.start_utc_s + k * outing.motion.dt_s
        speed = nav["speed_ground_mps"][k]
        course = nav["course_ground_deg"][k]
        said = [
            lines.rmc(t, nav["latitude_deg"][k], nav["longitude_deg"][k], speed, course),
            lines.vtg(speed, course),
            lines.hdg(nav["heading_magnetic_deg"][k], setting.place.variation_deg),
            lines.vhw(nav["speed_water_mps"][k]),
        ]
        if k % 10 == 0:
            said.append(lines.mtw(nav["water_temp_c"][k]))
        for j, text in enumerate(said):
            came = t + late[k] + 0.018 * j
            yield f"({came:.6f}) gps {text}\n"


def write(folder: Path, outing: Outing, setting: Setting, seed: int) -> None:
    """Writes demo.candump.log.zst, demo.nmea.gz and demo.dbc into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([seed, 1])
    can = "".join(can_lines(outing, setting, rng))
    packed = zstandard.ZstdCompressor(level=12).compress(can.encode("ascii"))
    (folder / "demo.candump.log.zst").write_bytes(packed)
    rng = np.random.default_rng([seed, 2])
    said = "".join(nmea_lines(outing, setting, rng))
    packed = gzip.compress(said.encode("ascii"), 9, mtime=0)
    (folder / "demo.nmea.gz").write_bytes(packed)
    (folder / "demo.dbc").write_text(dbc_text(), encoding="ascii")

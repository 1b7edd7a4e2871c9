"""What earlier trips found of the pack's circuit: to compare with, and to learn the cold from.

One trip at one temperature cannot tell how a pack takes the cold; trips in spring and in summer
can. What is kept of each trip is small.
"""

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np

from analyzer.learned.charge_history import follow
from analyzer.learned.keys import revive
from analyzer.pack.soc import turned
from analyzer.series.derived import cell_temp_c
from analyzer.series.log import OpenLog, pack_channels
from analyzer.series.series import Series
from analyzer.trips.sag_prior import Earlier
from analyzer.trips.sag_split import Split, split
from logger.store import TripRecord

KEY = "sag"
NEWEST = 8  # trips looked back at; assumed
# Standard deviations from which a difference is said to be one, and its least share; assumed.
CLEAR = 2.0
LEAST_SHARE = 0.05


@dataclass(frozen=True)
class Circuit:
    """The pack's circuit as one trip showed it, at 25 °C, weak cells included. [ohm]

    Args:
        there_ohm: Ohmic, of the fast and of the slow pair, of the mean cell at `temp_c`, the mean
            under load; `there_ln_sd` of their logarithms.
        cables_ohm: Pack to controller; None where that is not measured.
    """

    ohmic_ohm: float
    ohmic_sd: float
    polar_ohm: float
    polar_sd: float
    temp_c: float
    there_ohm: tuple[float, ...]
    there_ln_sd: tuple[float, ...]
    cables_ohm: float | None


def circuit(series: Series, found: Split) -> Circuit:
    """Of one trip."""
    current = np.nan_to_num(series.get("pack_current_a"))
    temp_c = float(np.average(cell_temp_c(series), weights=np.square(current) + 1e-6))
    (ohmic, ohmic_sd), (polar, polar_sd) = found.resistances()
    there = found.there(temp_c)
    drop = series.get("pack_voltage_v") - series.get("controller_voltage_v")
    known = np.isfinite(drop)
    square = float(np.square(current[known]).sum())
    cables = float(current[known] @ drop[known]) / square if square > 0 else None
    return Circuit(ohmic, ohmic_sd, polar, polar_sd, temp_c, there.ohm, there.ln_sd, cables)


def gather(log: OpenLog, trips: Sequence[TripRecord]) -> None:
    """Keeps the newest trips' circuits, but for the last, which may still be going on.

    Each by its own trip alone, so that a later one may take them all for separate witnesses.
    """
    done = {(k.from_us, k.to_us) for k in log.store.learned(KEY)}
    for trip in trips[:-1][-NEWEST:]:
        if (trip.start_us, trip.end_us) in done:
            continue
        names = ("controller_voltage_v", *pack_channels(log.boat))
        series = log.load(names, trip.start_us, trip.end_us)
        charge = follow(log, series)
        if charge and charge.final.sign_reversed:
            series = turned(series)
        found = split(series, charge, log.boat) if charge else None
        value = {"circuit": asdict(circuit(series, found)) if found else None}
        log.store.put_learned(KEY, value, trip.start_us, trip.end_us)


def circuits(log: OpenLog, before_us: int) -> list[Circuit]:
    """Of the newest trips that ended before a time, oldest first. [µs]"""
    kept = [k for k in log.store.learned(KEY) if k.to_us <= before_us][-NEWEST:]
    values = [k.value.get("circuit") for k in kept]
    found = [revive(lambda data: Circuit(**data), v) for v in values if v is not None]
    return [one for one in found if one is not None]


def before(log: OpenLog, before_us: int) -> tuple[Earlier, ...]:
    """What the split of a later trip learns the cold from."""
    return tuple(as_earlier(one) for one in circuits(log, before_us))


def as_earlier(one: Circuit) -> Earlier:
    """What the split of a later trip takes of it."""
    return Earlier(one.temp_c, tuple(one.there_ohm), tuple(one.there_ln_sd))


def compared(now: Circuit, earlier: Sequence[Circuit], current_a: float) -> str:
    """This trip beside the earlier ones, at one current and temperature; empty without any.

    The rest curve is left out, so trips compare whatever the charge was.
    """
    if not earlier or current_a <= 0:
        return ""
    parts = {
        "resistance": ("ohmic_ohm", "ohmic_sd"),
        "slow polarisation": ("polar_ohm", "polar_sd"),
    }
    said, total, total_then, var = [], 0.0, 0.0, 0.0
    for text, (name, sd) in parts.items():
        then = float(np.median([getattr(c, name) for c in earlier]))
        spread = math.hypot(getattr(now, sd), float(np.median([getattr(c, sd) for c in earlier])))
        total, total_then = total + getattr(now, name), total_then + then
        var += spread**2
        said.append(f"{text} {getattr(now, name) * current_a:.2f} V against {then * current_a:.2f}")
    cables = [c.cables_ohm for c in earlier if c.cables_ohm is not None]
    if now.cables_ohm is not None and cables:
        then = float(np.median(cables)) * current_a
        said.append(f"cables and contactor {now.cables_ohm * current_a:.2f} V against {then:.2f}")
    more = total - total_then
    clear = abs(more) > max(CLEAR * math.sqrt(var), LEAST_SHARE * total_then)
    verdict = "about as much as" if not clear else "more than" if more > 0 else "less than"
    trips = "the trip" if len(earlier) == 1 else f"the {len(earlier)} trips"
    return (
        f"At {current_a:.0f} A and 25 °C, whatever the charge, the cells lose {verdict} on "
        f"{trips} before: {'; '.join(said)}."
    )

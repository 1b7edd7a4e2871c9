"""Whether the energy counted over a stretch can be believed, by what speaks against its current."""

import numpy as np

from analyzer.grounds.current_scale import NOISY
from analyzer.grounds.plausible import BY_FINDING, LOOK_S, recently
from analyzer.pack.shunt_sense import shunt_sense
from analyzer.series.operating import pack_power_w
from analyzer.series.series import Series
from logger.boat import Boat

ONE_WAY_SHARE = 0.95  # of what flows: a current that only charges (assumed)
CHARGER_W = 50.0  # beside the sun: no wind generator or tow gives more for a whole trip (assumed)
UNPROVEN = (
    "the current only flows into the pack, more than the sun can give, and nothing shows yet "
    "whether its shunt is the right way round"
)


def power_doubt(series: Series, boat: Boat) -> str:
    """Why the energy over a stretch cannot be said; empty where it can.

    Args:
        series: Of one trip, with the pack's current as it is taken to flow.
    """
    newest = series.cut(series.n - round(LOOK_S / series.step_s), series.n)
    # A current that only scatters adds up rightly.
    harmless = BY_FINDING[NOISY][1]
    for part in (series, newest):
        by = dict(recently(part, boat)).get("pack current")
        if by is not None and by != harmless and not by.startswith("itself"):
            return f"the pack current is contradicted by {by}"
    return UNPROVEN if _only_charges(series, boat) else ""


def _only_charges(series: Series, boat: Boat) -> bool:
    """Whether all current goes in, with no known source, and the shunt's sense is not known."""
    if series.has("controller_current_a") or series.has("shore_power_w"):
        return False
    power = pack_power_w(series)
    power = power[np.isfinite(power)]
    moved = float(np.abs(power).sum())
    if not moved or float(-power[power < 0].sum()) < ONE_WAY_SHARE * moved:
        return False
    if float(-power.mean()) < boat.solar.peak_w + CHARGER_W:
        return False
    volts, amps = series.get("pack_voltage_v"), series.get("pack_current_a")
    sense = shunt_sense(volts, amps, series.step_s, boat.pack.rated_capacity_ah)
    return sense.verdict == "cannot say"

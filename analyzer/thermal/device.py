"""What a device warms a lug by that is bolted to it: a controller, a motor, a contactor.

Such a lug is warm without being bad. Where the device's own temperature is measured, it is a known
load: at rest the lug takes over the share c of what the device is above the air. Its conductances
to device, cable and air are in series and parallel, so that

    c = G_device / (G_device + G_fin + G_air),  0 <= c <= c(best contact)   [W/K over W/K]

Where it is not, its heat goes with the load and reaches the lug through the second node, like a
part of a bad joint's heat; only what comes sooner than that is then the joint's.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analyzer.series.series import Floats
from analyzer.thermal import joints
from analyzer.thermal.prior import HeatPrior
from logger.boat import Cable

MEASURED = {"controller": "controller_temp_c", "motor": "motor_temp_c"}  # by definition
DEVICES = (*MEASURED, "contactor")
# Metal contact of 5 µohm lets so much through. Source: Wiedemann and Franz, see `joints.py`.
BEST_CONTACT_W_K = 1.5
# A device's terminals may rise by this at its rated current: IEC 60947-1, terminals with silver or
# nickel on them; from general knowledge.
TERMINAL_RISE_K = 70.0
OLD_S = 600.0  # a device's temperature older than this is as good as none; assumed


def of(cable: Cable) -> str | None:
    """The device that its probed lug is on, by the cable's name and the probe's place."""
    # A probe on the cable is a hand's breadth and more away: what reaches it is the cable's own.
    if cable.probe_at == "cable":
        return None
    if cable.probe_at == "contactor":
        return "contactor"
    return next((name for name in DEVICES if name in cable.name), None)


def channel(cables: tuple[Cable | None, ...]) -> str | None:
    """Temperature of the one device that all of the cables' devices are; None: no such witness."""
    # Two different devices would want two shares, and the filter has one.
    found = {of(cable) for cable in cables if cable is not None} - {None}
    return MEASURED.get(str(found.pop())) if len(found) == 1 else None


def prior(cable: Cable, partner: Cable | None, measured: bool) -> tuple[float, float]:
    """Mean and standard deviation of what a device brings, over the partner's if there is one.

    Measured: share of what the device is above the air [K/K], anything up to the best contact's,
    so a uniform density. Else: settled rise at the reference load [K], anything positive with the
    standard's limit for its mean, so an exponential density. Zeros: neither is on a device.
    """
    mean = variance = 0.0
    for sign, each in ((1.0, cable), (-1.0, partner)):
        if each is not None and of(each) is not None:
            highest = most_share(each)
            mid, sd = 0.5 * highest, highest / math.sqrt(12.0)
            # An exponential density is as wide as it is high.
            if not measured:
                mid = sd = TERMINAL_RISE_K
            # A partner on a device of its own is taken off: the body is their difference.
            mean += sign * mid
            variance += sd * sd
    return mean, math.sqrt(variance)


def most_share(cable: Cable) -> float:
    """Share of a device's warmth that its lug takes over through the best contact. [K/K]"""
    # What the lug takes over leaves it again by its cable, as by a cooling fin, and by the air.
    j = joints.joint(cable)
    fin_w_k = j.from_cable * joints.REACHES_FRAC / j.path_k_w
    return BEST_CONTACT_W_K / (BEST_CONTACT_W_K + fin_w_k + joints.LUG_AIR_W_K)


class Devices:
    """How warm the devices are that some bodies are on, as far as anybody measures them.

    Args:
        couples: Each body's cable, and its partner where the body is their difference.
    Attributes:
        channels: Of each body's device, or None; names: each of those once.
        above_k: Above the air, the last of them while it is fresh; NaN: not measured. (bodies,)
    """

    def __init__(self, couples: Sequence[tuple[Cable, Cable | None]]) -> None:
        self._couples = couples
        self.channels = [channel(each) for each in couples]
        self.names = [name for name in dict.fromkeys(self.channels) if name]
        self.above_k = np.full(len(couples), np.nan)
        self._seen_s = np.full(len(couples), -np.inf)

    def see(self, end_s: float, above_k: Floats) -> bool:
        """Takes a step's readings, (bodies,); gives whether a sensor came or went."""
        # Whoever asks begins the state anew when a sensor comes or goes: its meaning changes.
        before = np.isfinite(self.above_k)
        fresh = np.isfinite(above_k)
        self._seen_s[fresh] = end_s
        known = end_s - self._seen_s <= OLD_S
        # Between readings a device keeps its warmth: it weighs kilograms, a lug grams.
        last_k = np.where(fresh, above_k, self.above_k)
        self.above_k = np.where(known, last_k, np.nan)
        return bool((before != known).any())

    def added(self, priors: Sequence[HeatPrior]) -> list[HeatPrior]:
        """The bodies' priors, with what their devices bring."""
        known = np.isfinite(self.above_k).tolist()
        brought = [
            prior(cable, partner, measured)
            for (cable, partner), measured in zip(self._couples, known, strict=True)
        ]
        return [
            replace(each, device=mean, device_sd=sd)
            for each, (mean, sd) in zip(priors, brought, strict=True)
        ]

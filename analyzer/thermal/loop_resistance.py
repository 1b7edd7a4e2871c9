"""The cables' loop as seen by two voltmeters: what lies between the pack's and the controller's.

    drop = meters' offset + R · current

R is brought to 20 °C by the copper's temperature where a probe tells it, and followed as it
wanders; a second witness beside the probes, that also sees joints without one.
"""

import math
from dataclasses import replace

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.series.resample import Gatherer
from analyzer.series.series import Series
from analyzer.thermal import copper
from logger.boat import Boat
from logger.channels import probe_temp

STEP_S = 10.0
OFFSET_SD_V = 0.3  # between two boat's meters at the start; it hardly wanders
READING_SD_V = 0.02
WALK_OHM = 0.2e-3  # per square root of an hour
START_SD_OHM = 5e-3
KNOWN_SD_OHM = 0.15e-3  # below this the loop counts as known


class LoopMonitor:
    """Follows the loop's resistance. Causal; readings in any pieces."""

    def __init__(self, boat: Boat) -> None:
        self.boat = boat
        self._probes = [probe_temp(c.probe) for c in boat.cable if c.probe]
        current = "controller_current_a"
        names = ("pack_voltage_v", "controller_voltage_v", current, "pack_current_a")
        self._gather = Gatherer(STEP_S, (*names, *self._probes))
        self.offset_v, self.ohm = 0.0, 0.0
        self._p = np.diag([OFFSET_SD_V**2, START_SD_OHM**2])
        self._noise = READING_SD_V**2
        self._last_s: float | None = None
        self.steps = 0
        self.base_ohm = math.nan
        self.base_sd_ohm = math.nan

    def update(self, chunk: Series) -> None:
        """Takes the next piece of the log."""
        ends, rows = self._gather.add(chunk)
        for end_s, row in zip(ends.tolist(), rows.tolist(), strict=True):
            self._step(end_s, row)

    def _step(self, end_s: float, row: list[float]) -> None:
        amps = row[2] if math.isfinite(row[2]) else row[3]
        drop = row[0] - row[1]
        hours = (end_s - self._last_s) / 3600.0 if self._last_s is not None else 0.0
        self._last_s = end_s
        self._p[1, 1] += WALK_OHM**2 * min(hours, 24.0)
        if not math.isfinite(amps * drop):
            return
        temps = [t for t in row[4:] if math.isfinite(t)]
        warm = copper.at_temp(1.0, sum(temps) / len(temps)) if temps else 1.0
        h = np.array([1.0, amps * float(warm)])
        s = float(h @ self._p @ h) + self._noise
        miss = drop - self.offset_v - self.ohm * h[1]
        gain = self._p @ h / s
        self.offset_v += gain[0] * miss
        self.ohm += gain[1] * miss
        self._p = self._p - np.outer(gain, h @ self._p)
        self.steps += 1
        self._keep_base()

    def _keep_base(self) -> None:
        sd = math.sqrt(max(self._p[1, 1], 0.0))
        # The upper end, so that the lowest of many is not the luckiest.
        if sd < KNOWN_SD_OHM and not self.ohm + sd >= self.base_ohm:
            self.base_ohm, self.base_sd_ohm = self.ohm + sd, sd

    def resistance(self) -> Estimate:
        """The loop at 20 °C: cables both ways, joints, contactor, fuse. [ohm]"""
        if not self.steps:
            why = "wants both the pack's and the controller's voltage, and a current"
            return cannot_say(why, "ohm", ("controller_voltage_v",))
        sd = math.sqrt(max(self._p[1, 1], 0.0))
        used = ("pack_voltage_v", "controller_voltage_v", "controller_current_a")
        return Estimate(self.ohm, self.ohm - Z80 * sd, self.ohm + Z80 * sd, "ohm", used=used)

    def grown(self) -> Estimate:
        """How much it has risen, at least, above the lowest it was known to be. [ohm]"""
        if math.isnan(self.base_ohm):
            return cannot_say("the loop's resistance is not known well yet", "ohm")
        sd = math.hypot(math.sqrt(max(self._p[1, 1], 0.0)), self.base_sd_ohm)
        mid = self.ohm - self.base_ohm
        return Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, "ohm")

    def expected_ohm(self) -> float:
        """Copper of all cables in the boat file at 20 °C, without joints. [ohm]"""
        return sum(copper.ohm_per_m_20c(c) * c.length_m for c in self.boat.cable)


def with_witness(finding: Detection, loop: LoopMonitor) -> Detection:
    """A heating joint's finding with what the voltmeters say of it, where they say anything."""
    grown = loop.grown()
    if finding.kind != "lug_heating" or grown.mid is None or grown.low is None or grown.low <= 0:
        return finding
    more = (
        " The drop between pack and controller confirms it and measures it better: the loop has "
        f"{grown.mid * 1000:.2g} mΩ more than it was known with."
    )
    return replace(finding, text=finding.text + more)

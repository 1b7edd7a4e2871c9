"""The cables' loop as seen by two voltmeters: what lies between the pack's and the controller's.

    drop = meters' offset + R · current

R is brought to 20 °C by the copper's temperature where a probe tells it, and followed as it
wanders; a second witness beside the probes, that also sees joints without one.
"""

import math
import statistics
from dataclasses import dataclass

import numpy as np

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.series.resample import Gatherer
from analyzer.series.series import Floats, Series
from analyzer.thermal import copper, joints
from analyzer.thermal.filter import STEP_S
from logger.boat import Cable
from logger.channels import probe_temp

# Between two boat's meters at the start (0.5 % of 48 V, common practice, no source); it hardly
# wanders. Of a step's mean difference: their resolution. Both assumed to hold for all.
OFFSET_SD_V, READING_SD_V = 0.3, 0.02
# Random walk of the loop in the square root of an hour while all joints are sound; what it may be
# at first: the worst cables. Both assumed.
WALK_OHM, START_SD_OHM = 0.2e-3, 5e-3
RATE_TAU_H = 0.5  # a joint that loosens goes on at about one rate for so long; assumed
COPPER_SD_K = 10.0  # of the copper's mean temperature, told by probes on its ends; assumed
COPPER_LEAST_FRAC = 0.8  # of the boat file's copper: its lengths, and what standards allow; assumed
MOST_GAP_H = 24.0  # nothing wanders further while nobody sails; assumed
LEAST_A = 5.0  # less does not warm a joint; assumed
KNOWN_SD_OHM = 0.15e-3  # below this it counts as known; a bad joint is three times as much; assumed
VOLTAGES = ("pack_voltage_v", "controller_voltage_v")
CURRENTS = ("controller_current_a", "pack_current_a")  # of cables that are part of the loop
OFFSET, OHM, RATE = range(3)
SOUND, LOOSENING = range(2)


@dataclass(frozen=True)
class Known:
    """A resistance and its standard deviation. [ohm]"""

    ohm: float
    sd_ohm: float

    @property
    def well(self) -> bool:
        """Whether it is known well enough to hold a later one against it."""
        return self.sd_ohm < KNOWN_SD_OHM

    def estimate(self, used: tuple[str, ...]) -> Estimate:
        """With its 80 % range. [ohm]"""
        reach_ohm = Z80 * self.sd_ohm
        return Estimate(self.ohm, self.ohm - reach_ohm, self.ohm + reach_ohm, "ohm", used=used)

    def grown_to(self, later: "Known") -> "Known":
        """How much more a later one is; the filters' errors are far apart, so that none is shared.

        Besides, the copper may have warmed by more or less than the probes near it.
        """
        copper_sd_ohm = self.ohm * copper.ALPHA_20C * COPPER_SD_K
        sd_ohm = math.hypot(self.sd_ohm, later.sd_ohm, copper_sd_ohm)
        return Known(later.ohm - self.ohm, sd_ohm)


class LoopMonitor:
    """Follows the loop's resistance. Causal; readings in any pieces.

    Two Kalman filters of the states (offset, R, rate) side by side, one for each hypothesis: all
    joints are sound (R wanders a little, rate is 0), or one loosens under load:

        dR/dt = rate;  d rate/dt = -rate / RATE_TAU_H + noise, so that its deviation is loose_rate

    The drop alone tells the two apart only late. Who knows by other signs that a joint loosens
    takes the second, which lags no growth.
    """

    used = (*VOLTAGES, CURRENTS[0])

    def __init__(self, cables: tuple[Cable, ...]) -> None:
        self.cables = cables
        probes = [probe_temp(c.probe) for c in cables if c.probe]
        self._gather = Gatherer(STEP_S, (*VOLTAGES, *CURRENTS, *probes))
        self._mean = np.zeros((3, 2))
        self._cov = np.zeros((3, 3, 2))
        self._cov[OFFSET, OFFSET] = OFFSET_SD_V**2
        self._cov[OHM, OHM] = START_SD_OHM**2
        # A joint that works loose does so here as it does to a probe: as fast, by its path.
        each = [joints.joint(c) for c in cables]
        rates = [joints.LOOSE_WALK_K / (j.path_k_w * j.ref_a**2) for j in each]
        self._loose_rate_ohm_h = max(rates, default=0.0)
        self._last_s: float | None = None
        self.steps = 0
        self._first: Known | None = None  # when it was first known well
        # Of the last chunk: the resistance at the end of each step.
        self.trace: dict[float, Known] = {}

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        ends, rows = self._gather.add(chunk)
        self.trace = {}
        for end_s, row in zip(ends.tolist(), rows.tolist(), strict=True):
            self._step(end_s, row)
            self.trace[end_s] = self.now(SOUND)
            if self._first is None and self.trace[end_s].well:
                self._first = self.trace[end_s]

    def _step(self, end_s: float, row: list[float]) -> None:
        # The controller's own current if it tells it: the pack's has the hotel load in it.
        amps = row[2] if math.isfinite(row[2]) else row[3]
        drop_v = row[0] - row[1]
        last_s = end_s if self._last_s is None else self._last_s
        hours = (end_s - last_s) / 3600.0
        self._last_s = end_s
        self._cov[OHM, OHM] += WALK_OHM**2 * min(hours, MOST_GAP_H)
        if not math.isfinite(amps * drop_v):
            return
        if abs(amps) > LEAST_A:
            # Over a gap nobody knows what flowed; the slow walk of both has to do.
            self._loosen(min(hours, STEP_S / 3600.0))
        temps = [t for t in row[4:] if math.isfinite(t)]
        # The median: the lug of a bad joint is far hotter than the copper.
        warm = copper.at_temp(1.0, statistics.median(temps)) if temps else 1.0
        self._update(drop_v, np.array([1.0, amps * float(warm), 0.0]))
        self.steps += 1

    def _loosen(self, hours: float) -> None:
        """Time update of the loosening hypothesis."""
        kept = math.exp(-hours / RATE_TAU_H)
        f = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, hours], [0.0, 0.0, kept]])
        cov = self._cov[..., LOOSENING]
        self._mean[:, LOOSENING] = f @ self._mean[:, LOOSENING]
        self._cov[..., LOOSENING] = f @ cov @ f.T
        self._cov[RATE, RATE, LOOSENING] += self._loose_rate_ohm_h**2 * (1 - kept * kept)

    def _update(self, drop_v: float, h: Floats) -> None:
        """Measurement update with drop = h x + noise, h = (1, current, 0)."""
        with_drop = np.einsum("ijk,j->ik", self._cov, h)
        innovation_v2 = h @ with_drop + READING_SD_V**2
        innovation_v = drop_v - h @ self._mean
        gain = with_drop / innovation_v2
        self._mean = self._mean + gain * innovation_v
        self._cov = self._cov - gain[:, None] * with_drop

    def now(self, hypothesis: int) -> Known:
        """The resistance as it is, if joints are sound or if one loosens."""
        # Rounding may leave a little less than nothing.
        var = float(self._cov[OHM, OHM, hypothesis])
        ohm = float(self._mean[OHM, hypothesis])
        return Known(ohm, math.sqrt(max(var, 0.0)))

    def resistance(self) -> Estimate:
        """The loop at 20 °C: cables both ways, joints, contactor, fuse. [ohm]"""
        if not self.steps:
            why = "wants both the pack's and the controller's voltage, and a current"
            return cannot_say(why, "ohm", ("controller_voltage_v",))
        return self.now(SOUND).estimate(self.used)

    def most_excess_ohm(self) -> float | None:
        """What a joint can have too much at most: all that is not copper, or all that came since
        the loop was known; None while that is not known yet, infinite if nobody measures it. [ohm]
        """
        if not self.steps:
            return math.inf
        now = self.now(SOUND)
        if self._first is None or not now.well:
            return None
        grown = self._first.grown_to(self.now(LOOSENING))
        left_ohm = now.ohm - COPPER_LEAST_FRAC * self.expected_ohm()
        return max(left_ohm + Z80 * now.sd_ohm, grown.ohm + Z80 * grown.sd_ohm)

    def expected_ohm(self) -> float:
        """Copper of all cables in the boat file at 20 °C, without joints. [ohm]"""
        return sum(copper.ohm_per_m_20c(c) * c.length_m for c in self.cables)

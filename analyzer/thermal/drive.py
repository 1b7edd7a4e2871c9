"""Motor and controller: how warm they will get at this load, and when they will cut back.

The same body model as for cables, with priors as wide as makers' habits. Heat goes with the
square of the controller's current; the reference is the current at the motor's rated power.
"""

import math
from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.pack.chemistry import chemistry
from analyzer.series.resample import Gatherer, highest
from analyzer.series.series import Series
from analyzer.thermal import questions
from analyzer.thermal.filter import STEP_S, ThermalImm
from analyzer.thermal.prior import HeatPrior, SecondNode
from logger.boat import Boat

AHEAD_S = 1800.0  # a limit further away than this is not yet told; assumed
SURE, HOLD_STEPS = 0.8, 6  # probability of passing it within that, and for how long; assumed
SAMPLES = 400  # of the posterior; a probability to 2.5 %, by definition
EVERY_STEPS = 3  # the way ahead is worked out this often, for speed's sake; assumed
# A kilowatt lost into two kilograms of copper, 385 J/(kg K) by handbooks, is 1.3 K/s.
FASTEST_K_S = 1.0
BEYOND = 4.0  # times the current at rated power: no controller lets it through; assumed
# Settled rise at rated power and its spread, time constant of winding or chip; housing or heat
# sink are as warm again, by the usual makes, within a third. Common practice, no source.
PRIORS = {"motor": (60.0, 40.0, 400.0), "controller": (40.0, 25.0, 200.0)}
SECOND_NODES = tuple(
    SecondNode(share, tau_s) for share in (0.75, 1.35) for tau_s in (1500.0, 3000.0)
)


@dataclass(frozen=True)
class Ahead:
    """Where a part is going at the present load."""

    part: str
    temp_c: float
    limit_c: float
    settles_at: Estimate  # °C
    crosses_in: Estimate  # s
    sure: float  # of passing the limit within `AHEAD_S`


class DriveHeat:
    """Follows one part, "motor" or "controller", whose limit the boat file tells."""

    def __init__(self, boat: Boat, part: str, limit_c: float) -> None:
        self.part, self.limit_c = part, limit_c
        rise, sd, tau = PRIORS[part]
        prior = HeatPrior(
            rise_k=rise, rise_sd_k=sd, rise_walk_k=5.0, loose_walk_k=30.0, tau_s=tau,
            neighbour_sd_k=6.0, second_nodes=SECOND_NODES, tau_ln_sd=0.7, offset_sd_k=6.0,
            noise_k=0.5, model_k=0.5, fastest_k_s=FASTEST_K_S,
        )  # fmt: skip
        cell_v = float(chemistry(boat.pack.chemistry).ocv_v(0.5))
        volts = cell_v * boat.pack.cells_in_series
        self._ref2 = (boat.motor.rated_power_w / volts) ** 2
        self.channel = f"{part}_temp_c"
        names = ("controller_current_a^2", "pack_current_a^2", self.channel, "ambient_temp_c")
        most_a = BEYOND * math.sqrt(self._ref2)
        most = {**dict.fromkeys(names[:2], most_a), **highest(names[2:])}
        self._gather = Gatherer(STEP_S, names, most)
        self._heat = ThermalImm((prior,))
        self._loads: deque[float] = deque(maxlen=12)
        self._last_s: float | None = None
        self._count = self._held = 0
        self.ahead: Ahead | None = None

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        for end_s, row in zip(*self._gather.add(chunk), strict=True):
            self._step(float(end_s), row.tolist())

    def detections(self) -> list[Detection]:
        """That the part will pass its limit at this load, once that has been so for a minute."""
        if self._held < HOLD_STEPS or self.ahead is None:
            return []
        return [self._detection(self.ahead)]

    def samples(self, n: int, rng: np.random.Generator) -> questions.HeatSamples | None:
        """Joint samples of the part's posterior; None: its temperature was never read."""
        return questions.samples(self._heat, 0, n, rng) if self._heat.started[0] else None

    def _step(self, end_s: float, row: list[float]) -> None:
        # The controller's own current if it tells it: the pack's has the hotel load in it.
        square = row[0] if math.isfinite(row[0]) else row[1]
        load, temp, air = square / self._ref2, row[2], row[3]
        dt = min(end_s - self._last_s, 3600.0) if self._last_s is not None else STEP_S
        self._last_s = end_s
        if math.isfinite(load):
            self._loads.append(load)
        self._heat.step(dt, np.array([load]), np.array([temp]), np.array([air]))
        self._count += 1
        if not self._heat.started[0]:
            return
        if self._count % EVERY_STEPS == 0:
            self.ahead = self._look(temp)
        sure = self.ahead is not None and self.ahead.sure >= SURE
        self._held = self._held + 1 if sure else 0

    def _look(self, temp_c: float) -> Ahead | None:
        load = sum(self._loads) / len(self._loads) if self._loads else 0.0
        mean, sd = questions.settled(self._heat, 0, load)
        settles = Estimate(mean, mean - Z80 * sd, mean + Z80 * sd, "degC", used=(self.channel,))
        if not math.isfinite(temp_c):
            return None
        if mean + 2 * sd < self.limit_c:
            never = cannot_say(f"at this load it stays below {self.limit_c:.0f} °C", "s")
            return Ahead(self.part, temp_c, self.limit_c, settles, never, 0.0)
        drawn = questions.samples(self._heat, 0, SAMPLES, np.random.default_rng(1))
        drawn = replace(drawn, temp_c=np.full(SAMPLES, temp_c))
        times = questions.crossing_s(drawn, load, self.limit_c)
        soon = float(np.mean(times <= AHEAD_S))
        low, mid, high = (float(q) for q in np.quantile(times, [0.1, 0.5, 0.9], method="lower"))
        crosses = cannot_say("it may never reach the limit at this load", "s")
        if math.isfinite(mid):
            crosses = Estimate(mid, low, high if math.isfinite(high) else None, "s")
        return Ahead(self.part, temp_c, self.limit_c, settles, crosses, soon)

    def _detection(self, ahead: Ahead) -> Detection:
        minutes = (ahead.crosses_in.mid or 0.0) / 60
        settles = ahead.settles_at.mid or math.nan
        text = (
            f"{self.part} at {ahead.temp_c:.0f} °C; at this load it would settle near "
            f"{settles:.0f} °C and pass {self.limit_c:.0f} °C in about {minutes:.0f} min."
        )
        return Detection(
            self.part,
            f"{self.part}_hot",
            text,
            ahead.sure,
            ahead.settles_at,
            level="notice",
            key=f"{self.part}/hot",
            channels=(self.channel, "controller_current_a"),
            title=f"The {self.part} will cut back if this goes on",
        )


def drive_heats(boat: Boat) -> list[DriveHeat]:
    """One for each part with a limit in the boat file."""
    limits = {
        "motor": boat.motor.motor_max_temp_c,
        "controller": boat.motor.controller_max_temp_c,
    }
    return [DriveHeat(boat, part, c) for part, c in limits.items() if c is not None]

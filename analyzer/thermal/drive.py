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
from analyzer.series.series import Floats, Series
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


class Part:
    """One part's limit and where it is going, by the filter that follows all of them.

    Args:
        part: "motor" or "controller". place: Among the filter's bodies.
    """

    def __init__(self, part: str, limit_c: float, place: int) -> None:
        self.part, self.limit_c, self.place = part, limit_c, place
        self.channel = f"{part}_temp_c"
        self.held = 0
        self.ahead: Ahead | None = None

    def take(self, heat: ThermalImm, load: float, temp_c: float, due: bool) -> None:
        """Takes a step of the filter. load: of the last two minutes. due: to look ahead."""
        if not heat.started[self.place]:
            return
        if due:
            self.ahead = self._look(heat, load, temp_c)
        sure = self.ahead is not None and self.ahead.sure >= SURE
        self.held = self.held + 1 if sure else 0

    def _look(self, heat: ThermalImm, load: float, temp_c: float) -> Ahead | None:
        mean, sd = questions.settled(heat, self.place, load)
        settles = Estimate(mean, mean - Z80 * sd, mean + Z80 * sd, "degC", used=(self.channel,))
        if not math.isfinite(temp_c):
            return None
        # Sampling takes time: it is for parts that may get there.
        if mean + 2 * sd < self.limit_c:
            never = cannot_say(f"at this load it stays below {self.limit_c:.0f} °C", "s")
            return Ahead(self.part, temp_c, self.limit_c, settles, never, 0.0)
        drawn = questions.samples(heat, self.place, SAMPLES, np.random.default_rng(1))
        # The reading says where the part is now, and the sentence gives it: both start there.
        drawn = replace(drawn, temp_c=np.full(SAMPLES, temp_c))
        times = questions.crossing_s(drawn, load, self.limit_c)
        soon = float(np.mean(times <= AHEAD_S))
        low, mid, high = (float(q) for q in np.quantile(times, [0.1, 0.5, 0.9], method="lower"))
        crosses = cannot_say("it may never reach the limit at this load", "s")
        if math.isfinite(mid):
            crosses = Estimate(mid, low, high if math.isfinite(high) else None, "s")
        return Ahead(self.part, temp_c, self.limit_c, settles, crosses, soon)


class DriveHeat:
    """Follows motor and controller, as far as the boat file tells their limits.

    Args:
        limits: Part, "motor" or "controller", -> its limit. [°C]
    """

    def __init__(self, boat: Boat, limits: dict[str, float]) -> None:
        self.parts = tuple(Part(name, c, k) for k, (name, c) in enumerate(limits.items()))
        cell_v = float(chemistry(boat.pack.chemistry).ocv_v(0.5))
        volts = cell_v * boat.pack.cells_in_series
        self._ref2 = (boat.motor.rated_power_w / volts) ** 2
        temps = [part.channel for part in self.parts]
        names = ("controller_current_a^2", "pack_current_a^2", "ambient_temp_c", *temps)
        most_a = BEYOND * math.sqrt(self._ref2)
        most = {**dict.fromkeys(names[:2], most_a), **highest(names[2:])}
        self._gather = Gatherer(STEP_S, names, most)
        self._heat = ThermalImm([_prior(part.part) for part in self.parts])
        self._loads: deque[float] = deque(maxlen=12)
        self._last_s: float | None = None
        self._count = 0

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        for end_s, row in zip(*self._gather.add(chunk), strict=True):
            self._step(float(end_s), row)

    def detections(self) -> list[Detection]:
        """Parts that will pass their limit at this load, once that has been so for a minute."""
        found = [(part, part.ahead) for part in self.parts if part.held >= HOLD_STEPS]
        return [_detection(part, ahead) for part, ahead in found if ahead is not None]

    def samples(self, part: Part, n: int, rng: np.random.Generator) -> questions.HeatSamples | None:
        """Joint samples of a part's posterior; None: its temperature was never read."""
        if not self._heat.started[part.place]:
            return None
        return questions.samples(self._heat, part.place, n, rng)

    def _step(self, end_s: float, row: Floats) -> None:
        # The controller's own current if it tells it: the pack's has the hotel load in it.
        own, packs, air = row[:3].tolist()
        load = (own if math.isfinite(own) else packs) / self._ref2
        dt = min(end_s - self._last_s, 3600.0) if self._last_s is not None else STEP_S
        self._last_s = end_s
        if math.isfinite(load):
            self._loads.append(load)
        temps = row[3:]
        every = np.ones(len(self.parts))
        self._heat.step(dt, load * every, temps, air * every)
        self._count += 1
        mean_load = sum(self._loads) / len(self._loads) if self._loads else 0.0
        due = self._count % EVERY_STEPS == 0
        for part, temp_c in zip(self.parts, temps.tolist(), strict=True):
            part.take(self._heat, mean_load, temp_c, due)


def _prior(part: str) -> HeatPrior:
    """Of one part, before its first reading."""
    rise, sd, tau = PRIORS[part]
    return HeatPrior(
        rise_k=rise, rise_sd_k=sd, rise_walk_k=5.0, loose_walk_k=30.0, tau_s=tau,
        neighbour_sd_k=6.0, second_nodes=SECOND_NODES, tau_ln_sd=0.7, offset_sd_k=6.0,
        noise_k=0.5, model_k=0.5, fastest_k_s=FASTEST_K_S,
    )  # fmt: skip


def _detection(part: Part, ahead: Ahead) -> Detection:
    """That a part will pass its limit at this load."""
    minutes = (ahead.crosses_in.mid or 0.0) / 60
    settles = ahead.settles_at.mid or math.nan
    text = (
        f"{part.part} at {ahead.temp_c:.0f} °C; at this load it would settle near "
        f"{settles:.0f} °C and pass {part.limit_c:.0f} °C in about {minutes:.0f} min."
    )
    return Detection(
        part.part,
        f"{part.part}_hot",
        text,
        ahead.sure,
        ahead.settles_at,
        level="notice",
        key=f"{part.part}/hot",
        channels=(part.channel, "controller_current_a"),
        title=f"The {part.part} will cut back if this goes on",
    )


def drive_heat(boat: Boat) -> DriveHeat | None:
    """Of the parts with a limit in the boat file; None where none has one."""
    limits = {
        "motor": boat.motor.motor_max_temp_c,
        "controller": boat.motor.controller_max_temp_c,
    }
    known = {part: c for part, c in limits.items() if c is not None}
    return DriveHeat(boat, known) if known else None

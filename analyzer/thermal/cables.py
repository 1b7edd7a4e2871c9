"""Cables: how warm a probe's place should be, how warm it is, and where that will end.

One monitor per cable with a probe; it takes the log piece by piece, in time order, and never
looks ahead. Another pole's probe with the same current is the best witness: what heats both is
the place, what heats one is the joint.
"""

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import CableRow
from analyzer.series.resample import Gatherer
from analyzer.series.series import Series
from analyzer.thermal import copper, joints, questions
from analyzer.thermal.cable_filter import CableHeat, Step, believable
from analyzer.thermal.filter import STEP_S, ThermalImm
from logger.boat import Cable
from logger.channels import probe_temp

# A probable fault from 4 K above a like part under like load, from 11 K above what air tells alone
# (NETA 100.18). Like is the other pole, and the place itself as its readings showed it before.
EXCESS_K, EXCESS_ALONE_K = 5.0, 11.0
SURE = 0.98
HOLD_S = 60.0
PEAK_TAU_S = 3600.0  # judged at the highest load of about the last hour
KNOWN_FRAC = 0.5  # of the first doubt: below it a rise is known by its readings
CUTOFF_LOAD = 0.04  # loads below 0.2 of the reference current say nothing about a joint
CAUTION = (
    "High current: switch the pack off and prove it dead before touching a joint; insulated "
    "tools, no rings or watches. Local codes and a qualified electrician come first."
)


@dataclass
class Verdict:
    """One way of judging, and how long it has held.

    Args:
        most_k: Rise at the reference load that a healthy place never passes on this view.
    """

    most_k: float
    alone_k: float = EXCESS_K  # excess that counts while only the prior tells what is healthy
    base_k: float = math.inf  # lowest rise at the reference load that readings showed
    first_k: float = math.inf  # what the prior allowed, and its doubt
    first_sd_k: float = math.inf
    excess_k: float = 0.0
    sure: float = 0.0
    held_s: float = 0.0

    def level_k(self, rise_k: float, sd_k: float, load: float) -> float:
        """Takes a fresh rise at the reference load, and the load to judge it at.

        Returns:
            Rise at the reference load above which it is a fault. [K]
        """
        upper_k = max(rise_k, 0.0) + sd_k
        if math.isinf(self.first_k):
            self.first_k, self.first_sd_k = 1.2 * upper_k, sd_k
        if sd_k < KNOWN_FRAC * self.first_sd_k:
            self.base_k = min(self.base_k, upper_k)
        most = min(self.most_k, self.base_k * 1.2)
        self.excess_k = (rise_k - min(most, self.first_k)) * load
        return min(most + EXCESS_K / load, self.first_k + self.alone_k / load)

    def judge(self, sure: float, dt_s: float) -> None:
        """Takes how likely the rise is above that level; 0 where it most likely is not."""
        self.sure = sure
        self.held_s = self.held_s + dt_s if sure >= SURE else 0.0


class CableMonitor:
    """Follows one cable's probe.

    Args:
        cable: The run; without a probe only its ampacity is answered.
        partner: The other pole's run, if it has a probe and the same current.
        heat, place: The heat that this cable shares with others, and its place in it; None: its
            own.
    """

    def __init__(
        self,
        cable: Cable,
        partner: Cable | None = None,
        heat: CableHeat | None = None,
        place: int = 0,
    ) -> None:
        self.cable = cable
        self.joint = joints.joint(cable)
        self.limit_c = joints.limit_c(cable)
        self.ampacity_a = copper.ampacity_a(cable)
        self._heat = heat or (CableHeat(((cable, partner),)) if cable.probe else None)
        self._place = place
        rise_k = self.joint.cable_rise_k
        self.high = Verdict(joints.highest_healthy_k(cable), EXCESS_ALONE_K)
        self.apart = Verdict(0.5 * rise_k)
        self._loads: deque[float] = deque(maxlen=12)
        self.peak_load = 0.0
        self.temp_c = math.nan
        self.highest_current_a: float | None = None
        self.sustained_a = 0.0
        bare = Gatherer(STEP_S, (f"{cable.current_channel}^2",), believable((cable,)))
        self._bare = bare if self._heat is None else None
        self.time_s = math.nan
        self._kept: tuple[float, Detection] | None = None

    def update(self, chunk: Series) -> None:
        """Takes the next piece of the log, 10 s or hours."""
        self.see_current(chunk)
        if self._heat is not None:
            for step in self._heat.add(chunk):
                self.take(step)

    def see_current(self, chunk: Series) -> None:
        """Keeps the highest current that three readings in a row reached."""
        current = chunk.values.get(self.cable.current_channel)
        if current is not None and chunk.n >= 3:
            size = np.abs(current)
            low = np.minimum(np.minimum(size[:-2], size[1:-1]), size[2:])
            high = float(np.fmax.reduce(low))
            if math.isfinite(high):
                self.highest_current_a = max(self.highest_current_a or 0.0, high)
        if self._bare is not None:
            for (square,) in self._bare.add(chunk)[1].tolist():
                self._see_load(square / self.joint.ref_a**2)

    def _see_load(self, load: float) -> None:
        """Keeps the loads of two minutes, and the highest that most of such a time was above."""
        if math.isfinite(load):
            self._loads.append(load)
        if len(self._loads) == self._loads.maxlen:
            typical = sorted(self._loads)[len(self._loads) // 2]
            self.sustained_a = max(self.sustained_a, math.sqrt(typical) * self.joint.ref_a)

    def take(self, step: Step) -> None:
        """Takes one step of the heat it belongs to."""
        load, temp = float(step.load[self._place]), float(step.temp_c[self._place])
        self.time_s = step.end_s
        if math.isfinite(temp):
            self.temp_c = temp
        self._see_load(load)
        self.peak_load = max(self.load, self.peak_load * math.exp(-step.dt_s / PEAK_TAU_S))
        if self.peak_load <= CUTOFF_LOAD or self._filter is None:
            return
        pair = self._place + len(step.load)
        for k, verdict in ((self._place, self.high), (pair, self.apart)):
            if self._filter.started[k]:
                rise, sd = float(step.rise_k[k]), float(step.rise_sd_k[k])
                level = verdict.level_k(rise, sd, self.peak_load)
                sure = questions.rise_above(self._filter, k, level) if rise > level else 0.0
                verdict.judge(sure, step.dt_s)

    @property
    def _filter(self) -> ThermalImm | None:
        """The heat filter, once this cable's probe has spoken."""
        heat = self._heat.heat if self._heat is not None else None
        return heat if heat is not None and heat.started[self._place] else None

    @property
    def load(self) -> float:
        """Mean load of the last two minutes, in squares of the reference current."""
        return sum(self._loads) / len(self._loads) if self._loads else 0.0

    @property
    def loosening(self) -> bool:
        """Whether one way of judging has been sure for long enough."""
        return max(self.high.held_s, self.apart.held_s) >= HOLD_S

    def excess_ohm(self) -> Estimate:
        """Joint resistance above a healthy one's. [ohm] 80 % range."""
        if self._filter is None:
            return cannot_say("no temperature from this cable's probe", "ohm")
        rng = np.random.default_rng(1)
        draws = questions.samples(self._filter, self._place, 2000, rng).rise_k
        expected = joints.prior(self.cable, True)
        healthy = expected.rise_k * np.exp(0.35 * rng.standard_normal(2000))
        path = self.joint.path_k_w * np.exp(0.4 * rng.standard_normal(2000))
        ohm = np.maximum(draws - healthy, 0.0) / path / self.joint.ref_a**2
        low, mid, high = (float(q) for q in np.quantile(ohm, [0.1, 0.5, 0.9]))
        used = (probe_temp(str(self.cable.probe)), self.cable.current_channel)
        return Estimate(mid, low, high, "ohm", used=used)

    def row(self) -> CableRow:
        """The cable's health now."""
        ampacity = Estimate(
            self.ampacity_a, None, None, "A", reason="33 CFR 183.425 Table 5, derated"
        )
        heat = self._filter
        if heat is None:
            why = "this cable has no probe" if not self.cable.probe else "its probe is silent"
            none = cannot_say(why, "K")
            return CableRow(
                self.cable.name,
                ampacity,
                self.highest_current_a,
                none,
                none,
                cannot_say(why, "ohm"),
                cannot_say(why, "degC"),
                cannot_say(why, "s"),
                self.limit_c,
            )
        load = self.load
        low, mid, high = questions.settled_range(heat, self._place, load)
        return CableRow(
            self.cable.name,
            ampacity,
            self.highest_current_a,
            self._expected(load),
            _normal(*self.found_rise(load), "K"),
            self.excess_ohm(),
            Estimate(mid, low, high, "degC"),
            self._crosses(load),
            self.limit_c,
        )

    def found_rise(self, load: float) -> tuple[float, float]:
        """What a load itself makes at the probe: mean and standard deviation. [K]"""
        if self._filter is None:
            return math.nan, math.nan
        rise, sd = questions.rise(self._filter)
        return float(rise[self._place]) * load, float(sd[self._place]) * load

    def settles_c(self) -> float:
        """Where its place would settle at the load of the last two minutes; NaN if unknown. [°C]"""
        heat = self._filter
        return questions.settled(heat, self._place, self.load)[0] if heat is not None else math.nan

    def detections(self) -> list[Detection]:
        """What is wrong with this cable, with its sureness; empty where nothing is."""
        out = []
        if self.loosening:
            out.append(self._loosening())
        if self.sustained_a > self.ampacity_a:
            out.append(self._ampacity_finding(self.ampacity_a))
        return out

    def _loosening(self) -> Detection:
        """The finding, worked out at most once a minute."""
        minute = self.time_s // 60.0
        if self._kept is None or self._kept[0] != minute:
            self._kept = (minute, self._loosening_finding())
        return self._kept[1]

    def _loosening_finding(self) -> Detection:
        verdict = max((self.high, self.apart), key=lambda v: v.held_s)
        ohm = self.excess_ohm()
        where = joints.place(self.cable)
        against = "its partner" if verdict is self.apart else "a sound one"
        mid = (ohm.mid or 0.0) * 1000
        text = (
            f"The {where} heats about {verdict.excess_k:.0f} K more than {against} would at this "
            f"current; a joint with some {mid:.2g} mΩ too much would do that."
        )
        cure = "Isolate the pack, then clean, re-seat and re-torque the joint; look at the crimp."
        return Detection(where, "lug_heating", text, verdict.sure, ohm, cure, CAUTION)

    def _ampacity_finding(self, amps: float) -> Detection:
        high = self.sustained_a
        text = (
            f"{high:.0f} A flowed for two minutes in a cable whose published ampacity here is "
            f"{amps:.0f} A."
        )
        size = Estimate(high / amps, None, None, "frac")
        cure = "A larger cable, or a lower current limit in the controller."
        return Detection(self.cable.name, "over_ampacity", text, 0.9, size, cure, CAUTION)

    def _expected(self, load: float) -> Estimate:
        prior = joints.prior(self.cable, True)
        mid = prior.rise_k * load
        return Estimate(mid, 0.6 * mid, 1.6 * mid, "K", reason="from size, rating and current")

    def _crosses(self, load: float) -> Estimate:
        assert self._filter is not None
        drawn = questions.samples(self._filter, self._place, 2000, np.random.default_rng(1))
        times = questions.crossing_s(drawn, load, self.limit_c)
        share = float(np.isfinite(times).mean())
        if share < 0.5:
            why = f"at this current it most likely stays below {self.limit_c:.0f} °C"
            return cannot_say(why, "s")
        low, mid = (float(q) for q in np.quantile(times, [0.1, 0.5], method="lower"))
        high = float(np.quantile(times, 0.9, method="lower"))
        return Estimate(mid, low, high if math.isfinite(high) else None, "s")


def _normal(mean: float, sd: float, unit: str) -> Estimate:
    return Estimate(mean, mean - Z80 * sd, mean + Z80 * sd, unit)


class CableGroup:
    """All cables of a boat, followed together: the same as one monitor each, at less cost."""

    def __init__(self, cables: tuple[Cable, ...]) -> None:
        by_name = {c.name: c for c in cables}
        probed = [c for c in cables if c.probe]
        pairs = tuple((c, by_name.get(c.partner or "")) for c in probed)
        self._heat = CableHeat(pairs) if pairs else None
        self.monitors = tuple(
            CableMonitor(c, None, self._heat, probed.index(c)) if c.probe else CableMonitor(c)
            for c in cables
        )

    def update(self, chunk: Series) -> None:
        """Takes the next piece of the log, 10 s or hours."""
        for monitor in self.monitors:
            monitor.see_current(chunk)
        for step in self._heat.add(chunk) if self._heat else ():
            for monitor in self.monitors:
                if monitor.cable.probe:
                    monitor.take(step)

    def summary(self) -> dict[str, dict[str, float]]:
        """What to keep of a trip: rise at the reference load and its standard deviation, by cable;
        cables whose probe said nothing are left out. [K]
        """
        out = {}
        for monitor in self.monitors:
            rise, sd = monitor.found_rise(1.0)
            if math.isfinite(rise) and monitor.peak_load > CUTOFF_LOAD:
                out[monitor.cable.name] = {"rise_k": rise, "sd_k": sd}
        return out

    def expect(self, bases: dict[str, float]) -> None:
        """Takes what earlier trips found: highest rise at the reference load that is still as
        before, by cable. [K]
        """
        for monitor in self.monitors:
            base = bases.get(monitor.cable.name)
            if base is not None:
                monitor.high.base_k = min(monitor.high.base_k, base)


def ampacity_a(cable: Cable, ambient_c: float | None = None) -> float:
    """Published ampacity with the place's derating. [A] See `copper.ampacity_a`."""
    return copper.ampacity_a(cable, ambient_c)

"""Cables: how warm a probe's place should be, how warm it is, and where that will end.

One monitor per cable with a probe; it takes the log piece by piece, in time order, and never
looks ahead. Another pole's probe with the same current is the best witness: what heats both is
the place, what heats one is the joint.
"""

import math
from collections import deque
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from analyzer import copper, joints
from analyzer.estimate import Estimate, cannot_say
from analyzer.gather import Gatherer
from analyzer.heating import HeatFilter, crossing_s
from analyzer.results import CableRow, Finding
from analyzer.series import Floats, Series
from logger.boat import Cable
from logger.channels import probe_temp

STEP_S = 10.0
Z80 = NormalDist().inv_cdf(0.9)
EXCESS_K = 5.0  # a probable fault from 4 K above a like part under like load (NETA 100.18)
SURE = 0.98
HOLD_S = 60.0
PEAK_TAU_S = 3600.0  # judged at the highest load of about the last hour
CUTOFF_LOAD = 0.04  # loads below 0.2 of the reference current say nothing about a joint
CAUTION = (
    "High current: switch the pack off and prove it dead before touching a joint; insulated "
    "tools, no rings or watches. Local codes and a qualified electrician come first."
)


@dataclass
class Verdict:
    """One way of judging, and how long it has held.

    Args:
        room: Share of the cable's own rise by which healthy places may differ on this view.
    """

    room: float
    base_k: float = math.inf  # lowest rise at the reference load that was known well
    excess_k: float = 0.0
    sure: float = 0.0
    held_s: float = 0.0

    def judge(self, rise_k: float, sd_k: float, most_k: float, load: float, dt_s: float) -> None:
        """Takes a fresh rise at the reference load; `most_k` a healthy one never passes."""
        self.base_k = min(self.base_k, max(rise_k, 0.0) + sd_k)
        above = rise_k - min(most_k, self.base_k * 1.2 + self.room)
        self.excess_k = above * load
        self.sure = NormalDist().cdf((above * load - EXCESS_K) / max(sd_k * load, 1e-6))
        self.held_s = self.held_s + dt_s if self.sure >= SURE else 0.0


BODY, PAIR = 0, 1


class CableMonitor:
    """Follows one cable's probe.

    Args:
        cable: The run; without a probe only its ampacity is answered.
        partner: The other pole's run, if it has a probe and the same current.
    """

    def __init__(self, cable: Cable, partner: Cable | None = None) -> None:
        self.cable = cable
        self.partner = partner if partner is not None and partner.probe else None
        self.joint = joints.joint(cable)
        self.limit_c = joints.limit_c(cable)
        self._most_k = (joints.highest_healthy_k(cable), 0.5 * self.joint.cable_rise_k)
        names = [f"{cable.current_channel}^2", "ambient_temp_c"]
        names += [probe_temp(c.probe) for c in (cable, self.partner) if c and c.probe]
        self._gather = Gatherer(STEP_S, tuple(names))
        self._heat: HeatFilter | None = None
        self._last_s: float | None = None
        self._loads: deque[float] = deque(maxlen=12)
        self.peak_load = 0.0
        self.high, self.apart = Verdict(0.0), Verdict(0.0)
        self.temp_c = math.nan
        self.highest_current_a: float | None = None
        self.time_s: float | None = None

    def update(self, chunk: Series) -> None:
        """Takes the next piece of the log, 10 s or hours."""
        current = chunk.get(self.cable.current_channel)
        if np.isfinite(current).any():
            high = float(np.nanmax(np.abs(current)))
            self.highest_current_a = max(self.highest_current_a or 0.0, high)
        if self.cable.probe:
            for end_s, row in zip(*self._gather.add(chunk), strict=True):
                self._step(float(end_s), row)

    def _step(self, end_s: float, row: Floats) -> None:
        load, ambient, temp = row[0] / self.joint.ref_a**2, row[1], row[2]
        apart = temp - row[3] if len(row) > 3 else math.nan
        dt = min(end_s - self._last_s, 3600.0) if self._last_s is not None else STEP_S
        self._last_s = self.time_s = end_s
        if self._heat is None:
            if not math.isfinite(temp):
                return
            prior = joints.prior(self.cable, math.isfinite(ambient))
            self._heat = HeatFilter((prior, joints.pair_prior(self.cable)))
        if math.isfinite(temp):
            self.temp_c = temp
        if math.isfinite(load):
            self._loads.append(load)
        self._heat.step(dt, load, np.array([temp, apart]), np.array([ambient, 0.0]))
        self.peak_load = max(self.load, self.peak_load * math.exp(-dt / PEAK_TAU_S))
        if self.peak_load > CUTOFF_LOAD:
            self._judge(dt)

    def _judge(self, dt: float) -> None:
        assert self._heat is not None
        rise, sd = self._heat.rise()
        for k, verdict in ((BODY, self.high), (PAIR, self.apart)):
            if self._heat.started[k]:
                verdict.judge(float(rise[k]), float(sd[k]), self._most_k[k], self.peak_load, dt)

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
        if self._heat is None:
            return cannot_say("no temperature from this cable's probe", "ohm")
        rng = np.random.default_rng(1)
        draws = self._heat.draws(BODY, 2000, rng)["rise_k"]
        expected = joints.prior(self.cable, True)
        healthy = expected.rise_k * np.exp(0.35 * rng.standard_normal(2000))
        path = self.joint.path_k_w * np.exp(0.4 * rng.standard_normal(2000))
        ohm = np.maximum(draws - healthy, 0.0) / path / self.joint.ref_a**2
        low, mid, high = (float(q) for q in np.quantile(ohm, [0.1, 0.5, 0.9]))
        used = (probe_temp(str(self.cable.probe)), self.cable.current_channel)
        return Estimate(mid, low, high, "ohm", used=used)

    def row(self) -> CableRow:
        """The cable's health now."""
        amps = copper.ampacity_a(self.cable)
        ampacity = Estimate(amps, None, None, "A", reason="33 CFR 183.425 Table 5, derated")
        heat = self._heat
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
        return CableRow(
            self.cable.name,
            ampacity,
            self.highest_current_a,
            self._expected(load),
            _normal(*self.found_rise(load), "K"),
            self.excess_ohm(),
            _normal(*heat.settled(BODY, load), "degC"),
            self._crosses(load),
            self.limit_c,
        )

    def found_rise(self, load: float) -> tuple[float, float]:
        """What a load itself makes at the probe: mean and standard deviation. [K]"""
        if self._heat is None:
            return math.nan, math.nan
        rise, sd = self._heat.rise()
        return float(rise[BODY]) * load, float(sd[BODY]) * load

    def findings(self) -> tuple[Finding, ...]:
        """What is wrong with this cable, with its sureness; empty where nothing is."""
        out = []
        if self.loosening:
            out.append(self._loosening_finding())
        amps = copper.ampacity_a(self.cable)
        if self.highest_current_a is not None and self.highest_current_a > amps:
            out.append(self._ampacity_finding(amps))
        return tuple(out)

    def _loosening_finding(self) -> Finding:
        verdict = max((self.high, self.apart), key=lambda v: v.held_s)
        ohm = self.excess_ohm()
        where = joints.place(self.cable)
        against = "its partner" if verdict is self.apart else "a sound one"
        mid = (ohm.mid or 0.0) * 1000
        text = (
            f"The {where} heats about {verdict.excess_k:.0f} K more than {against} would at this "
            f"current; a joint with {mid:.2g} mΩ too much would do that."
        )
        cure = "Isolate the pack, then clean, re-seat and re-torque the joint; look at the crimp."
        return Finding(where, "lug_heating", text, verdict.sure, ohm, cure, CAUTION)

    def _ampacity_finding(self, amps: float) -> Finding:
        high = self.highest_current_a or 0.0
        text = f"{high:.0f} A flowed in a cable whose published ampacity here is {amps:.0f} A."
        size = Estimate(high / amps, None, None, "frac")
        cure = "A larger cable, or a lower current limit in the controller."
        return Finding(self.cable.name, "over_ampacity", text, 0.9, size, cure, CAUTION)

    def _expected(self, load: float) -> Estimate:
        prior = joints.prior(self.cable, True)
        mid = prior.rise_k * load
        return Estimate(mid, 0.6 * mid, 1.6 * mid, "K", reason="from size, rating and current")

    def _crosses(self, load: float) -> Estimate:
        assert self._heat is not None
        d = self._heat.draws(BODY, 2000, np.random.default_rng(1))
        settled = self._heat.air_c[BODY] + d["offset_k"] + (d["rise_k"] + d["slow_k"]) * load
        times = crossing_s(d["temp_c"], settled, d["tau_s"], self.limit_c)
        share = float(np.isfinite(times).mean())
        if share < 0.5:
            why = f"at this current it most likely stays below {self.limit_c:.0f} °C"
            return cannot_say(why, "s")
        low, mid = (float(q) for q in np.quantile(times, [0.1, 0.5], method="lower"))
        high = float(np.quantile(times, 0.9, method="lower"))
        return Estimate(mid, low, high if math.isfinite(high) else None, "s")


def _normal(mean: float, sd: float, unit: str) -> Estimate:
    return Estimate(mean, mean - Z80 * sd, mean + Z80 * sd, unit)


def monitors(cables: tuple[Cable, ...]) -> tuple[CableMonitor, ...]:
    """A monitor for each cable, partners joined."""
    by_name = {c.name: c for c in cables}
    return tuple(CableMonitor(c, by_name.get(c.partner or "")) for c in cables)


def ampacity_a(cable: Cable, ambient_c: float | None = None) -> float:
    """Published ampacity with the place's derating. [A] See `copper.ampacity_a`."""
    return copper.ampacity_a(cable, ambient_c)

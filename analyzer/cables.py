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
from analyzer.heating import HeatFilter, HeatPrior, crossing_s
from analyzer.results import CableRow, Finding
from analyzer.series import Floats, Series
from analyzer.gather import Gatherer
from logger.boat import Cable
from logger.channels import probe_temp

STEP_S = 10.0
Z80 = NormalDist().inv_cdf(0.9)
EXCESS_K = 5.0  # a probable fault from 4 K above a like part under like load (NETA 100.18)
SURE = 0.98
HOLD_S = 120.0
CUTOFF_LOAD = 0.04  # loads below 0.2 of the reference current say nothing about a joint
CAUTION = (
    "High current: switch the pack off and prove it dead before touching a joint; insulated "
    "tools, no rings or watches. Local codes and a qualified electrician come first."
)


@dataclass
class Verdict:
    """One way of judging, and how long it has held."""

    excess_k: float = 0.0
    sd_k: float = math.inf
    sure: float = 0.0
    held_s: float = 0.0

    def judge(self, excess_k: float, sd_k: float, dt_s: float) -> None:
        """Takes a fresh excess rise at the present load."""
        self.excess_k, self.sd_k = excess_k, sd_k
        self.sure = NormalDist().cdf((excess_k - EXCESS_K) / max(sd_k, 1e-6))
        self.held_s = self.held_s + dt_s if self.sure >= SURE else 0.0


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
        self.healthy_k = joints.highest_healthy_k(cable)
        names = [f"{cable.current_channel}^2", "ambient_temp_c"]
        names += [probe_temp(c.probe) for c in (cable, self.partner) if c and c.probe]
        self._gather = Gatherer(STEP_S, tuple(names))
        self._body: HeatFilter | None = None
        self._pair: HeatFilter | None = None
        self._last_s: float | None = None
        self._loads: deque[float] = deque(maxlen=12)
        self.high, self.apart = Verdict(), Verdict()
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
        other = row[3] if len(row) > 3 else math.nan
        dt = min(end_s - self._last_s, 3600.0) if self._last_s is not None else STEP_S
        self._last_s = self.time_s = end_s
        if self._body is None:
            if not math.isfinite(temp):
                return
            self._body = HeatFilter(joints.prior(self.cable, math.isfinite(ambient)))
        if math.isfinite(temp):
            self.temp_c = temp
        if math.isfinite(load):
            self._loads.append(load)
        self._body.step(dt, load, temp, ambient)
        self._judge_high(dt)
        if math.isfinite(other) and math.isfinite(temp):
            self._step_pair(dt, load, temp - other)

    def _step_pair(self, dt: float, load: float, apart_k: float) -> None:
        if self._pair is None:
            self._pair = HeatFilter(_pair_prior(self.cable))
        self._pair.step(dt, load, apart_k, 0.0)
        rise, sd = self._pair.rise_at(self.load)
        room = 0.5 * self.joint.cable_rise_k * self.load  # two healthy places may differ by this
        self.apart.judge(rise - room if self.load > CUTOFF_LOAD else 0.0, sd, dt)

    def _judge_high(self, dt: float) -> None:
        if self._body is None or not self._body.started:
            return
        rise, sd = self._body.rise_at(self.load)
        most = self.healthy_k * self.load
        self.high.judge(rise - most if self.load > CUTOFF_LOAD else 0.0, sd, dt)

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
        if self._body is None or not self._body.started:
            return cannot_say("no temperature from this cable's probe", "ohm")
        rng = np.random.default_rng(1)
        draws = self._body.draws(2000, rng)["rise_k"]
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
        body = self._body
        if body is None or not body.started:
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
            _normal(*body.rise_at(load), "K"),
            self.excess_ohm(),
            _normal(*body.settled(load), "degC"),
            self._crosses(load),
            self.limit_c,
        )

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
        assert self._body is not None
        d = self._body.draws(2000, np.random.default_rng(1))
        settled = self._body.air_c + d["offset_k"] + d["rise_k"] * load
        times = crossing_s(d["temp_c"], settled, d["tau_s"], self.limit_c)
        share = float(np.isfinite(times).mean())
        if share < 0.5:
            why = f"at this current it most likely stays below {self.limit_c:.0f} °C"
            return cannot_say(why, "s")
        low, mid = (float(q) for q in np.quantile(times, [0.1, 0.5], method="lower"))
        high = float(np.quantile(times, 0.9, method="lower"))
        return Estimate(mid, low, high if math.isfinite(high) else None, "s")


def _pair_prior(cable: Cable) -> HeatPrior:
    """Belief about the difference between two poles' probes: none, within 40 % of the rise."""
    j = joints.joint(cable)
    return HeatPrior(
        rise_k=0.0,
        rise_sd_k=0.4 * j.cable_rise_k + 1.0,
        rise_walk_k=0.4 * j.cable_rise_k + 6.0,
        tau_s=j.tau_s,
        offset_sd_k=1.5,
        offset_walk_k=1.0,
    )


def _normal(mean: float, sd: float, unit: str) -> Estimate:
    return Estimate(mean, mean - Z80 * sd, mean + Z80 * sd, unit)


def monitors(cables: tuple[Cable, ...]) -> tuple[CableMonitor, ...]:
    """A monitor for each cable, partners joined."""
    by_name = {c.name: c for c in cables}
    return tuple(CableMonitor(c, by_name.get(c.partner or "")) for c in cables)


def ampacity_a(cable: Cable, ambient_c: float | None = None) -> float:
    """Published ampacity with the place's derating. [A] See `copper.ampacity_a`."""
    return copper.ampacity_a(cable, ambient_c)

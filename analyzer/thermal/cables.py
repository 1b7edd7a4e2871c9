"""All cables of a boat together, with the loop that they make: what is wrong with them.

They take the log in chunks, in time order, and never look ahead. That a joint is bad its heat tells
(`cable_monitor.py`); how bad it is, the voltage drop tells best (`joint_size.py`).
"""

import math

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import CableRow
from analyzer.series.series import Floats, Series
from analyzer.thermal import joint_size, joints
from analyzer.thermal.cable_filter import CableHeat
from analyzer.thermal.cable_monitor import CUTOFF_LOAD, CableMonitor
from analyzer.thermal.loop_resistance import LOOSENING, LoopMonitor
from logger.boat import Cable

LEAST_ROOM = 0.05  # probability by heat of a size that the loop has room for; assumed
CAUTION = (
    "High current: switch the pack off and prove it dead before touching a joint; insulated "
    "tools, no rings or watches. Local codes and a qualified electrician come first."
)


class CableGroup:
    """All cables of a boat, with the loop that they make, followed together."""

    def __init__(self, cables: tuple[Cable, ...]) -> None:
        by_name = {c.name: c for c in cables}
        probed = [c for c in cables if c.probe]
        pairs = tuple((c, by_name.get(c.partner or "")) for c in probed)
        self._heat = CableHeat(pairs) if pairs else None
        self.loop = LoopMonitor(cables)
        # One without a probe is followed too: its ampacity holds without one.
        self.monitors = tuple(
            CableMonitor(c, self._heat, probed.index(c)) if c.probe else CableMonitor(c, None)
            for c in cables
        )
        self._time_s = math.nan
        self._kept: tuple[object, list[Detection]] = (None, [])

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log, 10 s or hours."""
        # First, as each step of the heat is told what the drop said then.
        self.loop.update(chunk)
        for monitor in self.monitors:
            monitor.see_current(chunk)
        for step in self._heat.add(chunk) if self._heat else ():
            self._time_s = step.end_s
            for monitor in self.monitors:
                if monitor.cable.probe:
                    monitor.take(step, self.loop.trace.get(step.end_s))

    def warm(self, chunk: Series) -> None:
        """Takes the next chunk for a `summary` alone, and judges nothing."""
        for step in self._heat.add(chunk) if self._heat else ():
            for monitor in self.monitors:
                if monitor.cable.probe:
                    monitor.feel(step)

    def detections(self) -> list[Detection]:
        """What is wrong with the cables; empty where nothing is."""
        loosening = [m for m in self.monitors if m.loosening]
        # Worked out at most once a minute, as posteriors have to be sampled for it.
        stamp = (self._time_s // 60.0, [m.place for m in loosening])
        if self._kept[0] != stamp:
            self._kept = (stamp, self._heating(loosening))
        over = [m for m in self.monitors if m.sustained_a > m.ampacity_a]
        return [*self._kept[1], *map(_over_ampacity, over)]

    def rows(self, findings: list[Detection]) -> tuple[CableRow, ...]:
        """Health of each cable now; a joint found bad with the size that its finding has."""
        sizes = {d.key: d.size for d in findings if d.kind == "lug_heating"}
        return tuple(m.row(sizes.get(_key(m.cable))) for m in self.monitors)

    def _heating(self, monitors: list[CableMonitor]) -> list[Detection]:
        """The joints that heat more than they should, each with one size."""
        rise_k, ohm = {}, {}
        for m in monitors:
            rise_k[m.place], ohm[m.place] = m.excess_samples()
        bad = [m for m in monitors if self._has_room(m, ohm[m.place])]
        return [
            _lug_heating(m, float(np.median(rise_k[m.place])), *self._sized(m, bad, ohm))
            for m in bad
        ]

    def _has_room(self, monitor: CableMonitor, ohm: Floats) -> bool:
        """Whether the loop has room for what heat makes a joint: a controller warms its lugs, too.

        Until the loop is known nothing is said by heat alone; a place that gets too hot is flagged
        for that in any case.
        """
        most_ohm = self.loop.most_excess_ohm() if monitor.in_loop else math.inf
        if most_ohm is None:
            # A partner is witness enough: what warms both is the place and not the joint.
            return monitor.by_pair
        return bool(np.mean(ohm <= most_ohm) > LEAST_ROOM)

    def _sized(
        self, monitor: CableMonitor, found: list[CableMonitor], ohm: dict[int, Floats]
    ) -> tuple[Estimate, str]:
        """One joint's size among those found, and a sentence that says by which witness."""
        by_heat = joint_size.estimate(ohm[monitor.place], monitor.used)
        grown = monitor.loop_grown(self.loop.now(LOOSENING))
        # A growth that may be none is no witness.
        if grown is None or grown.ohm <= Z80 * grown.sd_ohm:
            return by_heat, f"As far as heat tells that is {_band(by_heat)}."
        # The growth is one figure for all of them.
        places = [m.place for m in found if m.in_loop]
        together, here = joint_size.by_drop(
            np.stack([ohm[place] for place in places]), grown, np.random.default_rng(1)
        )
        used = tuple(dict.fromkeys((*monitor.used, *self.loop.used)))
        size = joint_size.estimate(together[places.index(monitor.place)], used)
        if here > 0.5:
            return size, f"By the voltage drop between pack and controller that is {_band(size)}."
        return size, (
            f"As far as heat tells that is {_band(size)}; the drop between pack and controller "
            f"has grown by {grown.ohm * 1e3:.2g} mΩ, so another joint is bad too."
        )

    def summary(self) -> dict[str, dict[str, float]]:
        """What to keep of a trip: rise at the reference load and its standard deviation, by cable;
        cables whose probe said nothing are left out. [K]
        """
        out = {}
        for monitor in self.monitors:
            rise_k, sd_k = monitor.found_rise(1.0)
            # At less load a joint shows nothing: what would be kept is the prior.
            if math.isfinite(rise_k) and monitor.peak_load > CUTOFF_LOAD:
                out[monitor.cable.name] = {"rise_k": rise_k, "sd_k": sd_k}
        return out

    def expect(self, bases: dict[str, float]) -> None:
        """Takes what earlier trips found: highest rise at the reference load that is still as
        before, by cable. [K]
        """
        for monitor in self.monitors:
            base_k = bases.get(monitor.cable.name)
            # The lower of both, so that a joint that loosens slowly does not lift its own base.
            if base_k is not None:
                monitor.high.base_k = min(monitor.high.base_k, base_k)


def _key(cable: Cable) -> str:
    return f"joint/{cable.name}"


def _band(size: Estimate) -> str:
    mid, low, high = ((v or 0.0) * 1e3 for v in (size.mid, size.low, size.high))
    return f"{mid:.2g} mΩ too much in the joint ({low:.2g} to {high:.2g})"


def _lug_heating(monitor: CableMonitor, excess_k: float, size: Estimate, told: str) -> Detection:
    """A joint's finding. excess_k: at the reference current."""
    against = "its partner" if monitor.by_pair else "a sound one"
    where = joints.place(monitor.cable)
    # At the load that it is judged at, which is the one that the excess matters for.
    amps = math.sqrt(monitor.peak_load) * monitor.joint.ref_a
    return Detection(
        subject=where,
        kind="lug_heating",
        text=f"{_heats(where, excess_k * monitor.peak_load, against, amps)} {told}",
        sureness_frac=max(monitor.high.sure, monitor.apart.sure),
        size=size,
        cure="Isolate the pack, then clean, re-seat and re-torque the joint; look at the crimp.",
        caution=CAUTION,
        key=_key(monitor.cable),
    )


def _heats(where: str, more_k: float, against: str, amps: float) -> str:
    """How much warmer a joint runs than it should; below half a kelvin no figure is told."""
    if round(more_k) <= 0:
        return f"At {amps:.0f} A the {where} heats no more than {against} would."
    return f"The {where} heats about {more_k:.0f} K more than {against} would at {amps:.0f} A."


def _over_ampacity(monitor: CableMonitor) -> Detection:
    """A cable that carries more than its rating."""
    high_a, amps = monitor.sustained_a, monitor.ampacity_a
    return Detection(
        subject=monitor.cable.name,
        kind="over_ampacity",
        text=(
            f"{high_a:.0f} A flowed for two minutes in a cable whose published ampacity here is "
            f"{amps:.0f} A."
        ),
        sureness_frac=0.9,
        size=Estimate(high_a / amps, None, None, "frac"),
        cure="A larger cable, or a lower current limit in the controller.",
        caution=CAUTION,
        key=_key(monitor.cable),
    )

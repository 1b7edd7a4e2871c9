"""One cable: its current, and how warm its probe's place should be, is, and will be.

Another pole's probe with the same current is the best witness that a joint is bad: what heats both
is the place, what heats one is the joint.
"""

import math
from collections import deque

import numpy as np

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import CableRow
from analyzer.series.resample import Gatherer
from analyzer.series.series import Floats, Series
from analyzer.thermal import copper, device, joint_size, joints, questions
from analyzer.thermal.cable_filter import CableHeat, Step, believable
from analyzer.thermal.filter import STEP_S, ThermalImm
from analyzer.thermal.loop_resistance import CURRENTS, Known
from analyzer.thermal.verdict import EXCESS_ALONE_K, EXCESS_K, Verdict
from logger.boat import Cable
from logger.channels import probe_temp

PEAK_TAU_S = 3600.0  # judged at the highest load of about the last hour; assumed
CUTOFF_LOAD = 0.04  # below 0.2 of the reference current a joint shows nothing; assumed
MEAN_STEPS = 12  # two minutes are the present load, as stops and gusts are shorter; assumed
PROBE_OLD_S = 600.0  # a temperature older than this says nothing of now; assumed
PAIR_FRAC = 0.5  # of the cable's own rise: two healthy poles never differ by more; assumed
NEW_FRAC = 0.3  # of a rise: a place that showed less before was sound then; assumed
EXPECTED_RANGE = 0.6, 1.6  # of a healthy rise, over its middle; common practice, no source
RATED = "33 CFR 183.425 Table 5, derated"
NOT_AT_FAULT = "nothing says that this joint is at fault: other things may warm it"
BY_DEVICE = "nothing says that this joint is at fault: slow heat may be the {device}'s own"


class CableMonitor:
    """Follows one cable: its current, and the place of its probe if it has one.

    Args:
        heat, place: The filter of all probed cables, and this one's place in it; None: no probe.
    """

    def __init__(self, cable: Cable, heat: CableHeat | None, place: int = 0) -> None:
        self.cable = cable
        self.joint = joints.joint(cable)
        self.limit_c = joints.limit_c(cable)
        self.ampacity_a = copper.ampacity_a(cable)
        self._heat = heat
        self.place = place
        self._pair = heat.pair_of(place) if heat is not None else None
        self.high = Verdict(joints.highest_healthy_k(cable), EXCESS_ALONE_K)
        self.apart = Verdict(PAIR_FRAC * self.joint.cable_rise_k)
        self._loads: deque[float] = deque(maxlen=MEAN_STEPS)
        self.peak_load = 0.0
        self._loop_when_sound: Known | None = None
        self._time_s = self._seen_s = -math.inf
        self.highest_current_a: float | None = None
        self.sustained_a = 0.0
        bare = Gatherer(STEP_S, (f"{cable.current_channel}^2",), believable((cable,)))
        self._bare = bare if heat is None else None

    def see_current(self, chunk: Series) -> None:
        """Keeps the highest current that three readings in a row reached: one may be a slip."""
        current = chunk.values.get(self.cable.current_channel)
        if current is not None and chunk.n >= 3:
            size = np.abs(current)
            low = np.minimum(size[:-2], size[1:-1])
            low = np.minimum(low, size[2:])
            high = float(np.fmax.reduce(low))
            if math.isfinite(high):
                self.highest_current_a = max(self.highest_current_a or 0.0, high)
        if self._bare is not None:
            # A cable without a probe is not part of the filter, but its ampacity is looked after.
            for (square,) in self._bare.add(chunk)[1].tolist():
                self._see_load(square / self.joint.ref_a**2)

    def _see_load(self, load: float) -> None:
        """Keeps the loads of two minutes, and the highest that most of such a time was above."""
        if math.isfinite(load):
            self._loads.append(load)
        elif self._loads:
            # What is not measured any more is forgotten as fast as it was learned.
            self._loads.popleft()
        if len(self._loads) == MEAN_STEPS:
            # The median: half of the two minutes were above it, as a cable's rating is meant.
            typical = sorted(self._loads)[MEAN_STEPS // 2]
            self.sustained_a = max(self.sustained_a, math.sqrt(typical) * self.joint.ref_a)

    def take(self, step: Step, loop: Known | None) -> None:
        """Takes one step of the filter it belongs to, and judges the place and its pair.

        loop: What the voltage drop makes of the loop at its end.
        """
        speaks = self.feel(step)
        if not speaks or self.peak_load <= CUTOFF_LOAD or self.filter is None:
            return
        self._judge(step, self.place, self.high, loop)
        if self._pair is not None:
            self._judge(step, self._pair, self.apart, loop)

    def feel(self, step: Step) -> bool:
        """Takes one step's load without judging; gives whether its probe spoke."""
        self._see_load(float(step.load[self.place]))
        self._time_s = step.end_s
        faded = self.peak_load * math.exp(-step.dt_s / PEAK_TAU_S)
        self.peak_load = max(self.load, faded)
        # A silent probe says nothing, neither that a joint is well nor that it is bad.
        speaks = math.isfinite(step.temp_c[self.place])
        if speaks:
            self._seen_s = step.end_s
        return speaks

    def _judge(self, step: Step, body: int, verdict: Verdict, loop: Known | None) -> None:
        """One way of judging: its place, or the pair's difference, against that verdict."""
        heat, base_k = self.filter, verdict.base_k
        if heat is None or not heat.started[body]:
            return
        rises_k, sds_k = step.rise
        rise_k, sd_k = float(rises_k[body]), float(sds_k[body])
        level_k = verdict.level_k(rise_k, sd_k, self.peak_load)
        # By the heat, not by the lowest drop: the lowest of many is the luckiest.
        if verdict.base_k < base_k and loop is not None and loop.well:
            self._loop_when_sound = loop
        sure = 0.0
        # Worked out only where it matters: far below the level there is no fault.
        if rise_k > level_k:
            # A place that is not warm itself is not at fault, however its partner swings.
            warm = questions.rise_above(heat, self.place, EXCESS_K / self.peak_load)
            sure = min(warm, questions.rise_above(heat, body, level_k))
        verdict.judge(sure, step.dt_s)

    @property
    def posterior(self) -> ThermalImm | None:
        """The filter, once this cable's probe has spoken."""
        heat = self._heat.heat if self._heat is not None else None
        return heat if heat is not None and heat.started[self.place] else None

    @property
    def filter(self) -> ThermalImm | None:
        """The filter, while this cable's probe speaks."""
        return self.posterior if self._time_s - self._seen_s <= PROBE_OLD_S else None

    @property
    def load(self) -> float:
        """Mean load of the last two minutes, in squares of the reference current."""
        if not self._loads:
            return 0.0
        return sum(self._loads) / len(self._loads)

    @property
    def loosening(self) -> bool:
        """Whether one way of judging has been sure for long enough, and its probe still speaks."""
        return self.filter is not None and (self.high.faulty or self.apart.faulty)

    @property
    def by_pair(self) -> bool:
        """Whether the partner is what it is held against."""
        return self.apart.held_s > self.high.held_s

    @property
    def in_loop(self) -> bool:
        """Whether it lies between the two voltmeters."""
        return self.cable.current_channel in CURRENTS

    def loop_grown(self, now: Known) -> Known | None:
        """How much the loop has grown since readings showed this place sound; None: never. [ohm]"""
        faulty = [v for v in (self.apart, self.high) if v.faulty]
        was_sound = any(v.base_k < NEW_FRAC * v.rise_k for v in faulty)
        if self._loop_when_sound is None or not (was_sound and self.in_loop):
            return None
        return self._loop_when_sound.grown_to(now)

    @property
    def used(self) -> tuple[str, ...]:
        """Channels that its heat rests on."""
        return probe_temp(str(self.cable.probe)), self.cable.current_channel

    def excess_samples(self) -> tuple[Floats, Floats]:
        """Rise at the reference current beyond a sound joint's [K] and resistance that would make
        it [ohm], against the partner where that tells it; samples, (n,).
        """
        heat = self.filter
        assert heat is not None
        # Of the pair's rise all is excess, as the healthy parts of two like joints cancel.
        body = self._pair if self.by_pair and self._pair is not None else self.place
        due_k = 0.0 if self.by_pair else joints.prior(self.cable, True).rise_k
        # The same draws each time, so that figures move with the boat and not with chance.
        rng = np.random.default_rng(1)
        rise_k = questions.samples(heat, body, joint_size.SAMPLES, rng).rise_k
        return rise_k - due_k, joint_size.by_heat(self.joint, rise_k, due_k, rng)

    def excess_ohm(self) -> Estimate:
        """Joint resistance above a healthy one's, if nothing else warms it. [ohm]"""
        if self.filter is None:
            return cannot_say("no temperature from this cable's probe", "ohm")
        return joint_size.estimate(self.excess_samples()[1], self.used)

    def found_rise(self, load: float) -> tuple[float, float]:
        """What a load itself makes at the probe: mean and standard deviation. [K]"""
        if self.posterior is None:
            return math.nan, math.nan
        rises_k, sds_k = questions.rise(self.posterior)
        rise_k = float(rises_k[self.place])
        sd_k = float(sds_k[self.place])
        return rise_k * load, sd_k * load

    def settles_c(self) -> float:
        """Where its place would settle at the load of the last two minutes; NaN if unknown. [°C]"""
        heat = self.filter
        return questions.settled(heat, self.place, self.load)[0] if heat is not None else math.nan

    def row(self, excess: Estimate | None = None) -> CableRow:
        """The cable's health now. excess: of the joint, where it was found to be bad."""
        heat, load = self.filter, self.load
        if not self._loads:
            heat = None  # at which current?
        rise_k, sd_k = self.found_rise(load)
        reach_k = Z80 * sd_k
        found = Estimate(rise_k, rise_k - reach_k, rise_k + reach_k, "K")
        why = self._why_unknown()
        return CableRow(
            name=self.cable.name,
            ampacity=Estimate(self.ampacity_a, None, None, "A", reason=RATED),
            highest_current_a=self.highest_current_a,
            expected_rise=self._expected(load) if heat else cannot_say(why, "K"),
            found_rise=found if heat else cannot_say(why, "K"),
            excess_resistance=excess or (self._at_most() if heat else cannot_say(why, "ohm")),
            settles_at=self._settles(heat, load) if heat else cannot_say(why, "degC"),
            crosses_limit_in=self._crosses(heat, load) if heat else cannot_say(why, "s"),
            limit_c=self.limit_c,
        )

    def _why_unknown(self) -> str:
        if not self.cable.probe:
            return "this cable has no probe"
        return "its probe is silent" if self.filter is None else "its current is not measured"

    def _settles(self, heat: ThermalImm, load: float) -> Estimate:
        low, mid, high = questions.settled_range(heat, self.place, load)
        return Estimate(mid, low, high, "degC")

    def _at_most(self) -> Estimate:
        """Of a joint that is not found at fault: none, up to what its heat would make it."""
        by_heat, on = self.excess_ohm(), device.of(self.cable)
        reason = BY_DEVICE.format(device=on) if on else NOT_AT_FAULT
        return Estimate(0.0, 0.0, by_heat.high, "ohm", reason=reason, used=self.used)

    def _expected(self, load: float) -> Estimate:
        mid_k = joints.prior(self.cable, True).rise_k * load
        low, high = (mid_k * frac for frac in EXPECTED_RANGE)
        return Estimate(mid_k, low, high, "K", reason="from size, rating and current")

    def _crosses(self, heat: ThermalImm, load: float) -> Estimate:
        drawn = questions.samples(heat, self.place, joint_size.SAMPLES, np.random.default_rng(1))
        times_s = questions.crossing_s(drawn, load, self.limit_c)
        if np.isfinite(times_s).mean() < 0.5:
            why = f"at this current it most likely stays below {self.limit_c:.0f} °C"
            return cannot_say(why, "s")
        # No mean of two neighbours, one of which may be infinite.
        ends = np.quantile(times_s, [0.1, 0.5, 0.9], method="lower").tolist()
        low, mid, high = (end if math.isfinite(end) else None for end in ends)
        return Estimate(mid, low, high, "s")

"""Follows the charge a minute at a time: is the reserve reached, is the current's sign wrong?"""

from dataclasses import replace

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.flags.threshold import Threshold
from analyzer.pack.shunt_sense import LAG_S, shunt_sense
from analyzer.pack.soc import PackPosterior, advance
from analyzer.series import bridges
from analyzer.series.series import Floats, Series
from logger.boat import Boat

CHARGE_EVERY_S = 60.0  # assumed
# Of five seconds, twelve hours as `check` has it: by these the sign is judged; assumed.
SENSE_STEPS = 8640
LEARN_MINUTES = 30  # of the pack's own current show what the controller's is worth; assumed
KNOWN_SD = 0.08  # while the charge is not known well, silence is better than a guess; assumed


class Sense:
    """Whether the current comes with the wrong sign, by the changes of the last half day."""

    def __init__(self, boat: Boat) -> None:
        self._ah = boat.pack.rated_capacity_ah
        self._means = np.zeros((2, 0))
        self._found: list[Detection] = []

    def update(self, chunk: Series) -> None:
        """Takes the next minute."""
        size = max(round(LAG_S / chunk.step_s), 1)
        both = np.stack([chunk.get("pack_voltage_v"), chunk.get("pack_current_a")])
        whole = chunk.n // size * size
        both = both[:, :whole].reshape(2, -1, size).mean(axis=2)
        means = np.hstack([self._means, both])
        self._means = means[:, -SENSE_STEPS:]
        volts, amps = self._means
        test = shunt_sense(volts, amps, size * chunk.step_s, self._ah)
        if test.verdict != "cannot say":
            channels = ("pack_current_a", "pack_voltage_v")
            found = test.finding
            self._found = [replace(found, key="pack/sense", channels=channels)] if found else []

    def detections(self) -> list[Detection]:
        """The wrong sign, where it is wrong."""
        return self._found


class Reserve:
    """Follows the charge; detects the reserve being reached, or why the charge is not believed.

    Attributes:
        state: The charge as last followed, a minute old at most; None: not known.
    """

    def __init__(self, boat: Boat, charge: PackPosterior | None) -> None:
        self.boat, self.state = boat, charge
        self.sense = Sense(boat)
        reserve = boat.reserve.soc_frac
        self.warn = Threshold(reserve, reserve + 0.03, above=False, hold_s=120.0)
        self.act = Threshold(reserve / 2, reserve / 2 + 0.03, above=False, hold_s=120.0)
        self._chunks: list[Series] = []
        self._both: list[Series] = []  # minutes with the pack's own current
        self._ratio: tuple[float, float] | None = None  # that they show

    def update(self, chunk: Series) -> None:
        """Takes the next chunk of the log."""
        if self._chunks and _apart_s(self._chunks[-1], chunk) > CHARGE_EVERY_S:
            self._advance(joined(self._chunks))
            self._chunks = []
        self._chunks.append(chunk)
        held_s = sum(c.n * c.step_s for c in self._chunks)
        if held_s >= CHARGE_EVERY_S:
            whole = joined(self._chunks)
            self._chunks = []
            self._advance(whole)

    def detections(self) -> list[Detection]:
        """The wrong sign, or else the reserve being reached."""
        if wrong := self.sense.detections():
            return wrong
        if self.state is None or not (self.warn.active or self.act.active):
            return []
        soc, sd = self.state.soc, self.state.sd
        text = (
            f"Charge {100 * soc:.0f} % (give or take {100 * sd:.0f}), "
            f"reserve {100 * self.boat.reserve.soc_frac:.0f} %."
        )
        return [
            Detection(
                "pack",
                "reserve",
                text,
                size=Estimate(soc, soc - Z80 * sd, soc + Z80 * sd, "frac"),
                level="act now" if self.act.active else "warning",
                key="pack/low",
                channels=("pack_current_a",),
            )
        ]

    def _advance(self, whole: Series) -> None:
        bridge = self._bridged(whole)
        whole = bridge.series
        if not whole.has("pack_current_a"):
            return
        _despike(whole.values["pack_current_a"], 2.0 * self.boat.pack.rated_capacity_ah)
        if whole.has("pack_voltage_v"):
            volts = whole.values["pack_voltage_v"]
            _despike(volts, 0.2 * float(np.nanmedian(volts)))
            if not bridge.bridged.any():  # the controller's current says nothing of the shunt's
                self.sense.update(whole)
        followed = advance(whole, self.boat.pack, self.state)
        # The bridge errs the same way minute by minute: its error adds up, it does not even out.
        more = bridge.share_sd * bridges.bridged_ah(bridge) / followed.capacity_ah
        self.state = replace(followed, drift_sd=followed.drift_sd + more)
        value = self.state.soc if self.state.sd < KNOWN_SD else np.nan
        at = np.array([whole.t_utc_s[-1]])
        for limit in (self.warn, self.act):
            limit.see(at, np.array([value]))

    def _bridged(self, whole: Series) -> bridges.Bridge:
        """A minute with the pack's current from the controller's where its own is missing."""
        if bridges.lacks_current(whole):
            if self._both and self._ratio is None:
                self._ratio = bridges.learned_ratio(_end_to_end(self._both), self.boat)
            return bridges.pack_current(whole, self.boat, self._ratio)
        both = [*self._both, whole]
        self._both = both[-LEARN_MINUTES:]
        self._ratio = None
        return bridges.pack_current(whole, self.boat)


def _despike(values: Floats, jump: float) -> None:
    """Single readings that stand off their neighbours by more than `jump` become missing, and at
    the ends all that stand off the middle by ten times as much.
    """
    values[np.abs(values - np.nanmedian(values)) > 10 * jump] = np.nan
    inner = values[1:-1]
    before = inner - values[:-2]
    after = inner - values[2:]
    lone = (np.abs(before) > jump) & (np.abs(after) > jump) & (before * after > 0)
    inner[lone] = np.nan  # a view: the values themselves change


def _apart_s(one: Series, other: Series) -> float:
    """The hole between two chunks in time order. [s]"""
    return (other.t0_us - one.t0_us) / 1e6 - one.n * one.step_s


def _end_to_end(chunks: list[Series]) -> Series:
    """Chunks of one step as one series without the holes between them, which may last a winter."""
    names = dict.fromkeys(name for chunk in chunks for name in chunk.values)
    values = {name: np.concatenate([chunk.get(name) for chunk in chunks]) for name in names}
    n = sum(chunk.n for chunk in chunks)
    return Series(chunks[0].t0_us, chunks[0].step_s, n, values)


def joined(chunks: list[Series]) -> Series:
    """Chunks of one step in time order as one series; a hole between them becomes a gap."""
    first, last = chunks[0], chunks[-1]
    whole = _in_a_row(chunks)
    if whole is not None:
        values = {name: readings.copy() for name, readings in whole.values.items()}
        return Series(whole.t0_us, whole.step_s, whole.n, values)
    step_us = first.step_s * 1e6
    n = round((last.t0_us - first.t0_us) / step_us) + last.n
    values = {}
    for chunk in chunks:
        at = round((chunk.t0_us - first.t0_us) / step_us)
        for name, readings in chunk.values.items():
            fits = readings[: max(n - at, 0)]
            if name not in values:
                values[name] = np.full(n, np.nan)
            values[name][at : at + len(fits)] = fits
    return Series(first.t0_us, first.step_s, n, values)


def _in_a_row(chunks: list[Series]) -> Series | None:
    """The stretch of one series that the chunks are, part by part; None where they are not."""
    if chunks[0].part is None:
        return None
    whole, start = chunks[0].part
    stop = start
    for chunk in chunks:
        if chunk.part is None or chunk.part[0] is not whole or chunk.part[1] != stop:
            return None
        stop += chunk.n
    return whole.cut(start, stop)

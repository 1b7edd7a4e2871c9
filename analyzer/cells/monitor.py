"""Cells or blocks that differ from the others: by charge, by resistance, or by capacity.

Each is held against the median cell. Its resistance comes from load steps, its charge and capacity
from its distance at each level of charge moved; what is known of them is carried from trip to trip.
Readings come in as they come; the same readings in other portions give the same result.
"""

import math

import numpy as np
import numpy.typing as npt

from analyzer.cells.findings import Standout, detection
from analyzer.cells.memory import CellMemory, passed_on
from analyzer.cells.ohms import Ohms, likelihood_ratio
from analyzer.cells.sense_leads import SenseLeads
from analyzer.cells.step_resistance import READING_SD_V, StepResistance
from analyzer.cells.tracker import DeficitTracker
from analyzer.cells.verdict import Told, Verdict
from analyzer.cells.weak_cell import Deficit, WeakCell
from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import CellRow
from analyzer.pack.cell_model import Chemistry, chemistry, default_params, label
from analyzer.series.series import Series
from analyzer.series.steps import readings_per_step, whole_steps
from logger.boat import Pack
from logger.channels import block_voltage, cell_voltage

Floats = npt.NDArray[np.float64]

STEP_S = 10.0  # readings are gathered into steps of this length; assumed
LEAST_STEP_C = 0.03  # load changes below this are left out, as a share of Ah; assumed
LOAD_C = 0.05  # current from which the spread under load is looked at, as a share of Ah; assumed
SPREAD_STEPS = 3600  # of load that the spread is typical of: ten hours; assumed
RESISTANCE_SD = 0.03  # of the median cell's resistance: polarisation within a step; assumed
KNEE_SOC = 0.1  # charge below which a cell's resistance is no longer its usual one; assumed
GAP_US = 600_000_000  # without readings, in which charge may have moved unseen; assumed
LEAST_COUNTED = 0.02  # probability of a cause from which the run-down counts it; assumed
# How far a cell's resistance above the others' moves from trip to trip: of itself, as the cold
# raises all alike, and of the median's; assumed.
DRIFT_OWN, DRIFT = 0.1, 0.03

__all__ = ["CellMonitor", "measured", "measured_blocks"]


def measured(pack: Pack) -> tuple[list[str], list[str], int]:
    """Channels and names of what may be measured apart, cells first, and cells in each."""
    cells = range(1, pack.cells_in_series + 1)
    return [cell_voltage(i) for i in cells], [f"cell {i}" for i in cells], 1


def measured_blocks(pack: Pack) -> tuple[list[str], list[str], int]:
    """The same for factory blocks; empty where the pack has none."""
    count = pack.blocks_in_series or 0
    numbers = range(1, count + 1)
    inside = pack.cells_in_series // count if count else 1
    return [block_voltage(i) for i in numbers], [f"block {i}" for i in numbers], inside


class CellMonitor:
    """Follows all cells, or blocks where only they are measured.

    Args:
        memory: What earlier trips found of them; None: nothing is known.
    """

    def __init__(self, pack: Pack, memory: CellMemory | None = None) -> None:
        self.pack = pack
        self.kind: Chemistry = chemistry(pack.chemistry)
        self.params = default_params(pack)
        self.channels: list[str] = []
        self.names: list[str] = []
        self.inside = 1
        self._before = memory if memory and memory.label == label(pack) else None
        self._rest: list[Floats] = []  # readings that do not fill a step yet
        self._last: tuple[float, float] | None = None  # median cell and current, last step
        self._sums = np.zeros(2)  # of dI², -dI·dV: resistance of the median cell
        self._spread: list[float] = []
        self._low = self._high = np.zeros(0)
        self._next_us: int | None = None
        self._bank = StepResistance(0)
        self._deficits: DeficitTracker | None = None
        self._leads = SenseLeads(self.params.r0_ohm)
        self._verdicts: list[Verdict] = []
        self._knee_v = float(self.kind.ocv_v(KNEE_SOC, 25.0, -1.0))

    def update(self, chunk: Series) -> None:
        """Takes in readings that follow those before."""
        if not self.channels and not self._choose(chunk):
            return
        self._mind_gap(chunk)
        names = ("pack_current_a", *self.channels)
        table = np.column_stack([chunk.get(name) for name in names])
        table = self._leads.believed(table, chunk.step_s)
        rows = np.vstack([*self._rest, table])
        per_step = readings_per_step(STEP_S, chunk.step_s)
        steps = whole_steps(rows, per_step)
        self._take(steps, chunk.step_s)
        self._rest = [rows[len(steps) * per_step :]]

    def _mind_gap(self, chunk: Series) -> None:
        """After a gap nothing is compared with what was before it."""
        missing_us = 0 if self._next_us is None else abs(chunk.t0_us - self._next_us)
        self._next_us = chunk.t0_us + round(chunk.n * chunk.step_s * 1e6)
        if missing_us > 2e6 * chunk.step_s:
            self._rest.clear()
            self._last = None
            self._leads.forget()
            self._bank.forget_last()
        if missing_us > GAP_US and self._deficits is not None:
            self._deficits.gap()

    def _choose(self, chunk: Series) -> bool:
        for channels, names, inside in (measured(self.pack), measured_blocks(self.pack)):
            seen = [c for c in channels if chunk.has(c)]
            if len(seen) >= 2:
                self.channels = seen
                self.inside = inside
                named = dict(zip(channels, names, strict=True))
                self.names = [named[channel] for channel in seen]
                self._begin()
                return True
        return False

    def _begin(self) -> None:
        count = len(self.names)
        if self._before is not None and self._before.names != tuple(self.names):
            self._before = None
        known = self._before
        self._bank = StepResistance(count)
        self._leads = SenseLeads(self.inside * self.params.r0_ohm)
        self._low = np.full(count, np.inf)
        self._high = np.full(count, -np.inf)
        told_of = known.told if known else {}
        told = [Told.of(told_of.get(name, [])) for name in self.names]
        weight = known.weight if known else None
        self._deficits = DeficitTracker(self.pack, self._resistances, told, weight)

    def _take(self, steps: Floats, reading_s: float) -> None:
        """Takes in whole steps, shape (steps, readings, 1 + cells); a gap in one leaves out all
        values of that reading."""
        good = np.asarray(np.isfinite(steps).all(axis=2))
        seen = good.any(axis=1)
        if not seen.any():
            return
        steps, good = steps[seen], good[seen]
        count = good.sum(axis=1)
        readings = good[:, :, None]
        mean = np.where(readings, steps, 0.0).sum(axis=1) / count[:, None]
        volts = steps[good][:, 1:]
        self._low = np.minimum(self._low, volts.min(axis=0))
        self._high = np.maximum(self._high, volts.max(axis=0))
        median = np.median(mean[:, 1:], axis=1)
        seconds = (count * reading_s).tolist()
        for row, middle, dt_s in zip(mean, median.tolist(), seconds, strict=True):
            self._step(float(row[0]), row[1:], middle, dt_s)

    def _step(self, current_a: float, mean_v: Floats, median_v: float, seconds: float) -> None:
        assert self._deficits is not None
        distance_v = mean_v - median_v
        least_a = LEAST_STEP_C * self.pack.rated_capacity_ah
        flat_v = np.where(self._on_a_bend(mean_v, current_a), np.nan, distance_v)
        self._bank.step(flat_v, current_a, least_a, seconds)
        per_cell_v = median_v / self.inside
        self._deficits.step(per_cell_v, distance_v / self.inside, current_a, seconds)
        if abs(current_a) > LOAD_C * self.pack.rated_capacity_ah:
            self._spread.append(float(mean_v.max() - mean_v.min()))
            if len(self._spread) > 2 * SPREAD_STEPS:
                self._spread = self._spread[-SPREAD_STEPS:]
        if self._last is not None:
            before_v, before_a = self._last
            change_v = median_v - before_v
            change_a = current_a - before_a
            self._sums += (change_a**2, -change_a * change_v)
        self._last = (median_v, current_a)

    def _on_a_bend(self, mean_v: Floats, current_a: float) -> npt.NDArray[np.bool_]:
        """Cells near empty or full: there charge moves the voltage as load steps do, (cells,)."""
        rest_v = (mean_v + self._median_ohm() * current_a) / self.inside
        low = rest_v < self._knee_v
        high = rest_v > self.kind.top_v
        return np.asarray(low | high)

    def median_resistance(self) -> Estimate:
        """Of the median cell or block, from its answer to load changes. [ohm]"""
        power, cross = self._sums
        step_a = LOAD_C * self.pack.rated_capacity_ah
        enough = 4 * step_a**2
        if power < enough:
            return cannot_say("the load has not changed enough yet", "ohm")
        mid = cross / power
        noise = READING_SD_V * math.sqrt(2.0 / power)
        sd = noise + RESISTANCE_SD * abs(mid)
        return _about(mid, sd, "ohm", ("pack_current_a", *self.channels))

    def _median_ohm(self) -> float:
        return self.median_resistance().mid or self.params.r0_ohm * self.inside

    def _excess(self) -> tuple[Floats, Floats]:
        """Resistance of each above the median, and its sd, by the load steps of all trips. [ohm]"""
        excess, sd = self._bank.excess_ohm(), self._bank.excess_sd_ohm()
        if self._before is None:
            return excess, sd
        before = self._before.excess_ohm
        drift_ohm = np.hypot(DRIFT_OWN * before, DRIFT * self._median_ohm())
        known = np.hypot(self._before.excess_sd_ohm, drift_ohm) ** -2.0
        precision = known + sd**-2.0
        seen = precision > 0
        total = np.where(seen, precision, 1.0)
        excess = (before * known + excess * sd**-2.0) / total
        return excess, np.where(seen, total**-0.5, np.inf)

    def _resistances(self) -> Ohms:
        excess, sd = self._excess()
        median = self._median_ohm() / self.inside
        usual = self.median_resistance()
        ratio = None  # while the others' resistance is not known to be above nothing
        if usual.mid is not None and usual.low is not None and usual.low > 0:
            ratio = likelihood_ratio(excess, sd, usual.mid)
        return Ohms(median, excess / self.inside, sd / self.inside, ratio)

    def rows(self) -> tuple[CellRow, ...]:
        """One per cell or block, in order; none where none was read beside a current."""
        if not np.isfinite(self._low).all():
            return ()
        middle = self.median_resistance()
        excess, sd_ohm = self._bank.excess_ohm(), self._bank.excess_sd_ohm()
        rows = []
        for i, name in enumerate(self.names):
            used = (self.channels[i],)
            at_rest = _about(float(self._bank.offset_v[i]), READING_SD_V, "V", used)
            ohm = cannot_say(middle.reason or "too few load changes yet", "ohm")
            if middle.mid is not None and np.isfinite(sd_ohm[i]):
                middle_sd = (middle.mid - (middle.low or 0.0)) / Z80
                sd = math.hypot(middle_sd, float(sd_ohm[i]))
                ohm = _about(middle.mid + float(excess[i]), sd, "ohm", used)
            lowest = float(self._low[i])
            highest = float(self._high[i])
            rows.append(CellRow(name, at_rest, ohm, lowest, highest))
        return tuple(rows)

    def spread(self) -> Estimate:
        """Highest less lowest cell, typical under load. [V]"""
        if not self._spread:
            return cannot_say("no cell or block voltages under load yet", "V")
        recent = self._spread[-SPREAD_STEPS:]
        low, mid, high = np.quantile(recent, [0.1, 0.5, 0.9]).tolist()
        return Estimate(mid, low, high, "V", used=tuple(self.channels))

    def _judge(self) -> None:
        """Weighs the evidence, and what is told, anew; asked again soon, nothing changes."""
        if self._deficits is not None and self._deficits.weigh():
            self._verdicts = self._deficits.verdicts()

    def standouts(self) -> list[Standout]:
        """All that stands out, surest first; one of the resistance and one of the rest a cell."""
        self._judge()
        found = []
        excess, sd = self._excess()
        for i, one in enumerate(self._verdicts):
            used = (self.channels[i],)
            name = self.names[i]
            if one.kind:
                found.append(Standout(name, one.kind, one.size.estimate(used), one.sureness_frac))
            if one.told.raised and np.isfinite(sd[i]):
                size = _about(float(excess[i]), float(sd[i]), "ohm", used)
                usual = self._median_ohm()
                found.append(Standout(name, "cell_resistance", size, one.raised_frac, usual))
        return sorted(found, key=lambda one: -one.sureness_frac)

    def detections(self) -> list[Detection]:
        """What stands out, surest first; empty on a healthy pack."""
        return [detection(one) for one in self.standouts()]

    def weakest(self) -> WeakCell | None:
        """The cell expected to reach its limit first under load, by all likely causes, told or
        not; None where none is likely to lack anything.
        """
        self._judge()
        if not self._verdicts:
            return None
        excess, sd = self._excess()
        first = int(np.argmax([one.expected for one in self._verdicts]))
        likely = _likely(self._verdicts[first])
        if not likely:
            raised = np.array([one.told.raised for one in self._verdicts])
            first = int(np.argmax(np.where(raised, excess, -np.inf)))
            if not raised[first]:
                return None
        ohm, ohm_sd = float(excess[first]), float(sd[first])
        if not math.isfinite(ohm_sd):
            ohm = ohm_sd = 0.0
        told = bool(self._verdicts[first].told.kinds)
        return WeakCell(self.names[first], ohm, ohm_sd, likely, told)

    def memory(self) -> CellMemory | None:
        """What the next trip is to know; None where nothing is measured."""
        if self._deficits is None:
            return self._before
        self._judge()
        excess, sd = self._excess()
        told = {name: one.kinds for name, one in zip(self.names, self._deficits.told, strict=True)}
        told = {name: kinds for name, kinds in told.items() if kinds}
        weight = passed_on(self._deficits.weight, levelled=False)
        return CellMemory(label(self.pack), tuple(self.names), weight, excess, sd, told)

    def visible(self) -> Estimate:
        """The smallest difference in charge between cells that would show so far. [frac]"""
        if self._deficits is None:
            return cannot_say("no cell or block voltages", "frac", ("cell or block voltages",))
        least = self._deficits.least_visible()
        if not math.isfinite(least) or least > 0.3:
            return cannot_say(
                "cannot tell: the cells have only been seen where their curve is flat, and there "
                "even a tenth of the charge changes the voltage by less than a millivolt or two",
                "frac",
                ("a full charge to the top, or a stretch below about 20 % of charge",),
            )
        return Estimate(least, 0.7 * least, 1.5 * least, "frac", used=tuple(self.channels))

    def remarks(self) -> tuple[str, ...]:
        """What cannot be seen with what is measured or with what the log has shown."""
        if self._deficits is None:
            return (
                "No cell or block voltages arrive: cells cannot be told apart, and the first cell "
                "to run low or full does not show in the pack's voltage before it is late.",
            )
        said = []
        if self.inside > 1:
            said.append(
                f"Only blocks of {self.inside} cells are measured: a weak cell shows with "
                f"{100 / self.inside:.0f} % of its effect, and not which of them it is."
            )
        visible = self.visible()
        if not visible.known:
            said.append(f"A difference in charge: {visible.reason}. Wanted: {visible.missing[0]}.")
        return tuple(said)


def _likely(one: Verdict) -> tuple[Deficit, ...]:
    """What the cell lacks, by each cause that is likely enough to count."""
    causes = (
        Deficit(one.charge_frac, one.charge.mean, one.charge.sd),
        Deficit(one.capacity_frac, one.capacity.mean, one.capacity.sd),
    )
    return tuple(cause for cause in causes if cause.weight >= LEAST_COUNTED)


def _about(mid: float, sd: float, unit: str, used: tuple[str, ...]) -> Estimate:
    return Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, unit, used=used)

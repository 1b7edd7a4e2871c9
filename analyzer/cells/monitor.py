"""Cells or blocks that differ from the others: by charge, by resistance, or by capacity.

Each cell's distance from the median cell is followed by a small filter of its own: an offset
that may wander slowly (charge and curve) and a resistance that answers to the load. Readings
come in as they come; the same readings in other portions give the same result.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.cells.deficit import Levels, Missing
from analyzer.cells.findings import Standout, detection
from analyzer.cells.sense_leads import SenseLeads
from analyzer.cells.step_resistance import READING_SD_V, StepResistance
from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import CellRow
from analyzer.pack.cell_model import default_params
from analyzer.series.series import Series
from analyzer.series.steps import readings_per_step, whole_steps
from logger.boat import Pack
from logger.channels import block_voltage, cell_voltage

Floats = npt.NDArray[np.float64]

STEP_S = 10.0  # readings are gathered into steps of this length; assumed
LEAST_STEP_C = 0.03  # load changes below this are left out, as a share of Ah; assumed
CHARGE_LEAST = 0.02  # less charge than this missing is of no practical matter; assumed
CAPACITY_LEAST = 0.03  # nor is less capacity than this; assumed
EXCESS_SHARE = 0.18  # of the median resistance: less is of no practical matter; assumed
# Standard deviations; cells differ more in resistance than in charge. Assumed.
SURE_OHM, SURE_BEHIND = 5.5, 3.8


@dataclass(frozen=True)
class WeakCell:
    """The cell that will end the trip, against the mean cell.

    Args:
        name: "cell 7" or "block 2".
        r_excess_ohm, r_excess_sd_ohm: Resistance above the others'.
        soc_deficit_frac, soc_deficit_sd_frac: Charge below the others'.
        capacity_deficit_frac, capacity_deficit_sd_frac: Capacity below the others'.
    """

    name: str
    r_excess_ohm: float
    r_excess_sd_ohm: float
    soc_deficit_frac: float = 0.0
    soc_deficit_sd_frac: float = 0.0
    capacity_deficit_frac: float = 0.0
    capacity_deficit_sd_frac: float = 0.0


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


@dataclass(frozen=True)
class _Standout:
    """A cell that differs: how many sigmas from the others, which, by how much."""

    kind: str
    sigmas: float
    index: int
    size: float
    sd: float


def sureness(sigmas: float) -> float:
    """From standard deviations beyond what a healthy pack would show by chance."""
    return min(0.5 * (1 + math.erf((sigmas - 2.5) / math.sqrt(2))), 0.999)


def standouts(kind: str, values: Floats, sd: Floats, least: float, sure: float) -> list[_Standout]:
    """Values above the others by more than `least` and by more than chance.

    Chance is the value's own error together with the spread of the others.
    """
    values = values - np.median(values)
    out = []
    for i in np.flatnonzero(values > least).tolist():
        others = np.delete(values, i)
        usual = 1.4826 * float(np.median(np.abs(others - np.median(others))))
        sigmas = float(values[i]) / math.hypot(float(sd[i]), usual)
        if sigmas > sure:
            out.append(_Standout(kind, sigmas, i, float(values[i]), float(sd[i])))
    return out


class CellMonitor:
    """Follows all cells, or blocks where only they are measured."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self.params = default_params(pack)
        self.channels: list[str] = []
        self.names: list[str] = []
        self.inside = 1
        self._rest: list[Floats] = []  # readings that do not fill a step yet
        self._last: tuple[float, float] | None = None  # median cell and current, last step
        self._sums = np.zeros(3)  # of dI², -dI·dV, count: resistance of the median cell
        self._spread: list[float] = []
        self._low = self._high = np.zeros(0)
        self._next_us: int | None = None
        self._bank: StepResistance | None = None
        self._levels: Levels | None = None
        self._leads = SenseLeads(self.params.r0_ohm)

    def update(self, chunk: Series) -> None:
        """Takes in readings that follow those before."""
        if not self.channels and not self._choose(chunk):
            return
        if self._next_us is not None and abs(chunk.t0_us - self._next_us) > 2e6 * chunk.step_s:
            self._rest.clear()
            self._last = None
            self._leads.forget()
        self._next_us = chunk.t0_us + round(chunk.n * chunk.step_s * 1e6)
        table = np.column_stack(
            [chunk.get("pack_current_a"), *[chunk.get(c) for c in self.channels]]
        )
        table = self._leads.believed(table, chunk.step_s)
        rows = np.vstack([*self._rest, table])
        steps = whole_steps(rows, readings_per_step(STEP_S, chunk.step_s))
        self._take(steps, chunk.step_s)
        self._rest = [rows[steps.shape[0] * steps.shape[1] :]]

    def _choose(self, chunk: Series) -> bool:
        for channels, names, inside in (measured(self.pack), measured_blocks(self.pack)):
            seen = [c for c in channels if chunk.has(c)]
            if len(seen) >= 2:
                self.channels, self.inside = seen, inside
                self.names = [n for c, n in zip(channels, names, strict=True) if c in seen]
                count = len(seen)
                self._bank = StepResistance(count)
                self._levels = Levels(self.pack, count)
                self._leads = SenseLeads(inside * self.params.r0_ohm)
                self._low, self._high = np.full(count, np.inf), np.full(count, -np.inf)
                return True
        return False

    def _take(self, steps: Floats, reading_s: float) -> None:
        """Takes in whole steps, shape (steps, readings, 1 + cells); a gap in one leaves out all
        values of that reading."""
        good = np.isfinite(steps).all(axis=2)
        count = good.sum(axis=1)
        steps, count = steps[count > 0], count[count > 0]
        if not len(steps):
            return
        good = np.asarray(np.isfinite(steps).all(axis=2))[:, :, None]
        mean = np.where(good, steps, 0.0).sum(axis=1) / count[:, None]
        volts = steps[:, :, 1:]
        self._low = np.minimum(self._low, np.where(good, volts, np.inf).min(axis=(0, 1)))
        self._high = np.maximum(self._high, np.where(good, volts, -np.inf).max(axis=(0, 1)))
        median = np.median(mean[:, 1:], axis=1)
        for row, middle, seconds in zip(mean, median.tolist(), count * reading_s, strict=True):
            self._step(float(row[0]), row[1:], middle, float(seconds))

    def _step(self, current: float, mean_v: Floats, median: float, seconds: float) -> None:
        assert self._bank is not None
        assert self._levels is not None
        distance = mean_v - median
        least_a = LEAST_STEP_C * self.pack.rated_capacity_ah
        self._bank.step(distance, current, least_a, seconds)
        self._levels.step(median / self.inside, distance / self.inside, current, seconds)
        if abs(current) > 0.05 * self.pack.rated_capacity_ah:
            self._spread.append(float(mean_v.max() - mean_v.min()))
            if len(self._spread) > 7200:
                self._spread = self._spread[-3600:]
        if self._last is not None:
            d_v, d_i = median - self._last[0], current - self._last[1]
            self._sums += (d_i * d_i, -d_i * d_v, 1.0)
        self._last = (median, current)

    def median_resistance(self) -> Estimate:
        """Of the median cell or block, from its answer to load changes. [ohm]"""
        power, cross, _ = self._sums
        enough = (0.05 * self.pack.rated_capacity_ah) ** 2 * 4
        if power < enough:
            return cannot_say("the load has not changed enough yet", "ohm")
        mid, sd = cross / power, READING_SD_V * math.sqrt(2.0 / power) + 0.03 * abs(cross / power)
        used = ("pack_current_a", *self.channels)
        return Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, "ohm", reason="", used=used)

    def rows(self) -> tuple[CellRow, ...]:
        """One per cell or block, in order."""
        if self._bank is None:
            return ()
        middle = self.median_resistance()
        rows = []
        for i, name in enumerate(self.names):
            offset, excess = self._bank.offset_v[i], self._bank.excess_ohm()[i]
            sd_v, sd_ohm = READING_SD_V, self._bank.excess_sd_ohm()[i]
            used = (self.channels[i],)
            at_rest = Estimate(float(offset), float(offset - Z80 * sd_v),
                               float(offset + Z80 * sd_v), "V", used=used)  # fmt: skip
            if middle.mid is None or middle.low is None or not np.isfinite(sd_ohm):
                ohm = cannot_say(middle.reason or "too few load changes yet", "ohm")
            else:
                mid = middle.mid + float(excess)
                half = math.hypot(middle.mid - middle.low, Z80 * float(sd_ohm))
                ohm = Estimate(mid, mid - half, mid + half, "ohm", used=used)
            rows.append(CellRow(name, at_rest, ohm, float(self._low[i]), float(self._high[i])))
        return tuple(rows)

    def spread(self) -> Estimate:
        """Highest less lowest cell, typical under load. [V]"""
        if not self._spread:
            return cannot_say("no cell or block voltages under load yet", "V")
        low, mid, high = np.quantile(self._spread[-3600:], [0.1, 0.5, 0.9])
        return Estimate(float(mid), float(low), float(high), "V", used=tuple(self.channels))

    def _excess(self) -> list[_Standout]:
        """Cells whose resistance stands out."""
        middle = self.median_resistance()
        if self._bank is None or middle.mid is None:
            return []
        excess, sd = self._bank.excess_ohm(), self._bank.excess_sd_ohm()
        return standouts("cell_resistance", excess, sd, EXCESS_SHARE * middle.mid, SURE_OHM)

    def _behind(self) -> list[_Standout]:
        """Cells that miss charge or capacity, each with the cause that the log can show."""
        missing = self.missing()
        if missing is None or self._levels is None:
            return []
        # Less charge shows best somewhere in the middle, less capacity at the lowest seen.
        now = [missing.where_best_seen(), missing.at(missing.depth)]
        looked: dict[int, _Standout] = {}
        behind: set[int] = set()
        for here, here_sd in (*now, (missing.earlier, missing.earlier_sd)):
            for one in standouts("cell_low", here, here_sd, CHARGE_LEAST, SURE_BEHIND):
                if here is not missing.earlier:
                    behind.add(one.index)
                if one.index not in looked or one.sigmas > looked[one.index].sigmas:
                    looked[one.index] = one
        found = []
        for one in looked.values():
            cause = self._levels.cause(*self._resistances(), one.index)
            if cause is not None and cause.kind == "cell_capacity":
                if cause.size > CAPACITY_LEAST:
                    found.append(replace(one, kind=cause.kind, size=cause.size, sd=cause.sd))
            elif one.index not in behind:
                continue  # a full charge has levelled it since, as far as can be seen
            elif cause is None or cause.kind == "cell_low":
                found.append(one)
            elif cause.size > CHARGE_LEAST:
                found.append(replace(one, kind=cause.kind, size=cause.size, sd=cause.sd))
        return found

    def _resistances(self) -> tuple[float, Floats]:
        """Of the median cell, and of each above it, per cell. [ohm]"""
        assert self._bank is not None
        ohm = self.median_resistance().mid or self.params.r0_ohm * self.inside
        excess = self._bank.excess_ohm() if self._bank.steps >= 3 else 0 * self._bank.offset_v
        return ohm / self.inside, excess / self.inside

    def missing(self) -> Missing | None:
        """Charge and capacity missing per cell; None while nothing was seen."""
        if self._levels is None or self._bank is None:
            return None
        return self._levels.missing(*self._resistances())

    def standouts(self) -> list[_Standout]:
        """All that stands out, surest first, one cause per cell."""
        excess = self._excess()
        dear = {one.index for one in excess}
        behind = [one for one in self._behind() if one.index not in dear or one.sigmas > 8]
        return sorted([*excess, *behind], key=lambda one: -one.sigmas)

    def detections(self) -> list[Detection]:
        """What stands out, surest first; empty on a healthy pack."""
        return [detection(self._told(one)) for one in self.standouts()]

    def _told(self, one: _Standout) -> Standout:
        usual = self.median_resistance().mid or math.nan
        unit = "ohm" if one.kind == "cell_resistance" else "frac"
        low, high = one.size - Z80 * one.sd, one.size + Z80 * one.sd
        size = Estimate(one.size, low, high, unit, used=(self.channels[one.index],))
        return Standout(self.names[one.index], one.kind, size, sureness(one.sigmas), usual)

    def visible(self) -> Estimate:
        """The smallest difference in charge between cells that would show so far. [frac]"""
        if self._levels is None:
            return cannot_say("no cell or block voltages", "frac", ("cell or block voltages",))
        least = self._levels.least_visible(self._resistances()[0])
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
        if self._levels is None:
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

    def weakest(self) -> WeakCell | None:
        """The cell that will reach its limit first under load; None where none stands out."""
        found = self.standouts()
        if not found or self._bank is None:
            return None
        first = found[0].index
        missing = self.missing()
        excess, sd = self._bank.excess_ohm()[first], self._bank.excess_sd_ohm()[first]
        known = math.isfinite(sd)
        weak = WeakCell(
            self.names[first], float(excess) if known else 0.0, float(sd) if known else 0.0
        )
        if missing is None or found[0].kind == "cell_resistance":
            return weak
        one = found[0]
        if one.kind == "cell_capacity":
            return replace(weak, capacity_deficit_frac=one.size, capacity_deficit_sd_frac=one.sd)
        return replace(weak, soc_deficit_frac=one.size, soc_deficit_sd_frac=one.sd)

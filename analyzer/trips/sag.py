"""Sag along a trip: where the volts between rest and load went, at each grid time.

Rest is the pack's open-circuit voltage when the trip began. Loaded is what the controller saw
where that is measured, else the pack's terminals. The terms add up to the difference; what they
do not explain stands last, under its own name.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analyzer.cells.monitor import measured, measured_blocks
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import Charge
from analyzer.series.derived import cell_temp_c, has_cell_temp
from analyzer.series.operating import rest_a
from analyzer.series.series import Bools, Floats, Series
from analyzer.trips.sag_prior import Earlier
from analyzer.trips.sag_split import Split, split
from analyzer.trips.trips import Trip
from logger.boat import Boat

REST_SD_V = 0.02  # of a rest voltage that was read: the meter's; common practice, no source
MODEL_REST_SD_V = 0.003  # per cell, of one that was not: the rest curve's; assumed
STILL_S = 300.0  # without load before a trip, and its rest voltage is read: fast pairs; assumed
READ_S = 30  # readings of it; assumed
LEAST_CELLS = 4  # of which a median tells what is usual; assumed
LEAST_READINGS = 60  # of all cells together; assumed
LEAST_VAR_A2 = 1.0  # of the current: less and no resistance can be told from it; assumed
# A cell is weak that lies so many robust standard deviations above the usual, and this far. Assumed
WEAK_SIGMAS, WEAK_LEAST_OHM = 5, 2e-5
MAD_TO_SD = 1.4826  # median absolute deviation to standard deviation of a normal, by definition
MOST_WARM = 2.0  # of resistance at 25 °C over that now; beyond, the fit has come apart; assumed


@dataclass(frozen=True)
class Parts:
    """The terms at each grid time, shape (n,) each, pack-level volts, NaN where unknown.

    `ohmic_25_v` and `polar_25_v` are what a pack at 25 °C would lose, `cold_v` the rest of it;
    without a thermometer they are what it lost as it was, and `cold_v` is unknown.
    """

    current_a: Floats
    loaded_v: Floats
    charge_used_v: Floats
    ohmic_25_v: Floats
    polar_25_v: Floats
    cold_v: Floats
    weak_v: Floats
    cables_v: Floats
    rest_v: float
    rest_sd_v: float
    weakest: str | None
    at_rest: Bools
    found: Split | None  # None: too short a trip for a fit; the charge filter's own split stands

    @property
    def unexplained_v(self) -> Floats:
        """What the terms leave."""
        known = self.charge_used_v + self.ohmic_25_v + self.polar_25_v
        for volts in (self.cold_v, self.weak_v, self.cables_v):
            known = known + np.nan_to_num(volts)
        return self.rest_v - self.loaded_v - known


def parts(
    series: Series,
    charge: Charge,
    boat: Boat,
    start: int = 0,
    earlier: Sequence[Earlier] = (),
) -> Parts:
    """The account at every grid time.

    Args:
        charge: Of the same series.
        start: Index where the trip begins; rest is taken there.
        earlier: What trips at other temperatures found.
    """
    pack_v, control_v = series.get("pack_voltage_v"), series.get("controller_voltage_v")
    # Of a short trip there is no fit: the charge filter's running estimate stands in for it.
    found = split(series, charge, boat, earlier)
    along = found.series() if found is not None else _by_charge_filter(series, charge, boat)
    at_rest, read_v = _rest(series, boat, start)
    model_v = float(np.nanmean(along["rest_v"][at_rest])) if at_rest.any() else float("nan")
    weak_v, weakest = _weak(series, boat)
    ohmic_v, polar_v, cold_v = _losses(series, along, np.nan_to_num(weak_v))
    return Parts(
        current_a=series.get("pack_current_a"),
        # Behind the cables, where it is measured, so that what they lose is part of the sag.
        loaded_v=np.where(np.isfinite(control_v), control_v, pack_v),
        # Against the model's own rest, not the one read: an error of the curve's level cancels.
        charge_used_v=model_v - along["rest_v"],
        ohmic_25_v=ohmic_v,
        polar_25_v=polar_v,
        cold_v=cold_v,
        weak_v=weak_v,
        cables_v=pack_v - control_v,
        rest_v=model_v if read_v is None else read_v,
        rest_sd_v=_rest_sd_v(boat, read_v),
        weakest=weakest,
        at_rest=at_rest,
        found=found,
    )


def _losses(
    series: Series,
    along: dict[str, Floats],
    weak_v: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Ohmic and polarisation at 25 °C without the weak cells, and what the cold adds. (n,) each"""
    ohmic_v, polar_v = along["ohmic_v"], along["polar_v"]
    if not has_cell_temp(series):
        # The fit took 20 °C for granted: what it would call the cold is only that.
        return ohmic_v - weak_v, polar_v, np.full(series.n, np.nan)
    ohmic_25_v, polar_25_v = along["ohmic_25_v"], along["polar_25_v"]
    # The fit's resistance holds the weak cells' too: they are taken out of it, at 25 °C and for
    # the cold, in the proportion of the whole.
    warm_share = ohmic_25_v / np.where(ohmic_v == 0, 1.0, ohmic_v)
    weak_25_v = weak_v * np.clip(warm_share, 0.0, MOST_WARM)
    cold_v = ohmic_v + polar_v - ohmic_25_v - polar_25_v - (weak_v - weak_25_v)
    return ohmic_25_v - weak_25_v, polar_25_v, cold_v


def of_trip(
    series: Series, charge: Charge, boat: Boat, trip: Trip, earlier: Sequence[Earlier] = ()
) -> Parts:
    """The account's parts over a series that may begin before a trip and end after it."""
    return parts(series, charge, boat, trip_span(series, trip)[0], earlier)


def trip_span(series: Series, trip: Trip | None) -> tuple[int, int]:
    """Grid indices of a trip within a series, all of it where there is none."""
    if trip is None:
        return 0, series.n
    first, last = (
        round((t_us - series.t0_us) / 1e6 / series.step_s) for t_us in (trip.start_us, trip.end_us)
    )
    return max(first, 0), min(max(last, 0), series.n)


def _by_charge_filter(series: Series, charge: Charge, boat: Boat) -> dict[str, Floats]:
    """The charge filter's own split, where a trip is too short for a fit."""
    kind, temp = chemistry(boat.pack.chemistry), cell_temp_c(series)
    return {
        "rest_v": charge.ocv_v,
        "ohmic_v": charge.v_r0,
        "polar_v": charge.v_rc,
        "ohmic_25_v": charge.v_r0 / kind.ohmic_factor(temp),
        "polar_25_v": charge.v_rc / kind.charge_factor(temp),
    }


def _rest(series: Series, boat: Boat, start: int) -> tuple[Bools, float | None]:
    """When the pack's rest is taken, shape (n,), and its voltage then if it was read. [V]

    Read if the pack lay still for `STILL_S` before the trip; else it is the model's.
    """
    per = max(round(STILL_S / series.step_s), 1)
    before = slice(max(start - per, 0), max(start, 1))
    amps, volts = series.get("pack_current_a")[before], series.get("pack_voltage_v")[before]
    at_rest = np.zeros(series.n, bool)
    at_rest[max(start - READ_S, 0) : max(start, 1)] = True
    # All of them: a single minute of load would still be relaxing.
    still = len(amps) >= per and bool(np.all(np.abs(amps) < rest_a(boat.pack)))
    if still and np.isfinite(volts[-READ_S:]).any():
        # The median, as a pump may run for a few of these seconds.
        return at_rest, float(np.nanmedian(volts[-READ_S:]))
    return at_rest, None


def _rest_sd_v(boat: Boat, read_v: float | None) -> float:
    return REST_SD_V if read_v is not None else MODEL_REST_SD_V * boat.pack.cells_in_series


def _weak(series: Series, boat: Boat) -> tuple[Floats, str | None]:
    """Volts that cells, or blocks, below the others cost under load, and which is the worst."""
    unknown: tuple[Floats, str | None] = np.full(series.n, np.nan), None
    current = series.get("pack_current_a")
    channels, names = _channels(series, boat)
    if not channels:
        return unknown
    volts = np.stack([series.get(name) for name in channels])
    slopes = _slopes(np.median(volts, axis=0) - volts, current)
    if slopes is None:
        return unknown
    # Robust, as the weak cells themselves must not widen what counts as usual.
    usual = float(np.median(slopes))
    spread = MAD_TO_SD * float(np.median(np.abs(slopes - usual)))
    weak = slopes > usual + WEAK_SIGMAS * spread + WEAK_LEAST_OHM
    lost_v = np.where(np.isfinite(current), current, np.nan) * float(slopes[weak].sum())
    return lost_v, names[int(np.argmax(slopes))] if weak.any() else None


def _channels(series: Series, boat: Boat) -> tuple[list[str], list[str]]:
    """Voltages of all cells, else of all blocks, with what they are called; else nothing."""
    for channels, names, _ in (measured(boat.pack), measured_blocks(boat.pack)):
        if len(channels) >= LEAST_CELLS and series.has(*channels):
            return channels, names
    return [], []


def _slopes(below_v: Floats, current: Floats) -> Floats | None:
    """Least squares of each cell's distance below the median over current: ohms, (cells,).

    Args:
        below_v: Shape (cells, n).
    """
    ok = np.isfinite(current) & np.isfinite(below_v).all(axis=0)
    if ok.sum() < LEAST_READINGS:
        return None
    # Centred: a cell that lies low in charge, or whose meter does, is not weak under load.
    amps = current[ok] - current[ok].mean()
    power_a2 = float(amps @ amps)
    if power_a2 < LEAST_VAR_A2 * ok.sum():
        return None
    centred = below_v[:, ok] - below_v[:, ok].mean(axis=1, keepdims=True)
    return np.asarray(centred @ amps / power_a2)

"""The trip that was, with another boat: how full it would have been back."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analyzer.answers.gain.boat_changes import changed_question, place_of
from analyzer.answers.gain.keys import ChangedKey, changed_boat
from analyzer.answers.gain.rows import TripWhatIf
from analyzer.answers.snapshot import here_now
from analyzer.environment import stream
from analyzer.environment.solar import (
    STANDARD_W_M2,
    USUAL_SD,
    USUAL_SHARE,
    haurwitz_w_m2,
    sine_of_height,
)
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.resampling import resample
from analyzer.estimation.results import TripRow
from analyzer.learned.charge_history import charge_at
from analyzer.learned.kept_trips import find_trip, trip_row
from analyzer.pack.soc import PackPosterior
from analyzer.range.inputs import RangeInputs, hotel_w, usual_speed_mps
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.reach import middle
from analyzer.range.sample import sample
from analyzer.range.what_if.changes import own_rng
from analyzer.range.what_if.past import Past, changed_w, charge_over
from analyzer.series.log import OpenLog
from analyzer.series.operating import motoring, propulsion_power_w
from analyzer.series.series import Series
from analyzer.series.steps import readings_per_step, whole_steps
from analyzer.trips.trips import TRIP_CHANNELS
from logger.boat import Boat
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

DRAWS = 300  # a median within a twentieth of the 80 % range, by definition of sampling
STEP_S = 20.0  # within which the current hardly changes the charge; assumed
# Of a charge that the trip's record has without a range, one standard deviation; assumed.
END_SD = 0.02
# What stepping by means adds to a charge, and the least that an end is known to; both assumed.
MODEL_SD, LEAST_SD = 0.02, 0.003
# Panels that are not aboard get as much sun as those that are, within this: assumed.
PANEL_SD = 0.10
CHANNELS = (
    *TRIP_CHANNELS, "pack_voltage_v", "pack_current_a", "hotel_power_w", "solar_power_w",
    "shore_power_w", "controller_voltage_v", "controller_current_a", "shaft_speed_rps",
    "motor_speed_rps", "speed_water_mps", "speed_ground_mps",
)  # fmt: skip


def trip_what_if(log: OpenLog, wishes: Sequence[str], number: int | None = None) -> TripWhatIf:
    """One trip as it would have been with some numbers of the boat file changed.

    Raises:
        BadChange: A key or a value cannot be asked.
        NoTrip: There is no such trip.
    """
    boat, changes = changed_boat(log.boat, wishes)
    record = find_trip(log, number)
    row = trip_row(record)
    names = tuple(dict.fromkeys(CHANNELS))
    series = log.load(names, record.start_us, record.end_us)
    start = charge_at(log, record.start_us)
    if start is None or start.sign_reversed or not row.charge_end.known:
        return _unsaid(changes, row, "the charge at the trip's start or end is not known")
    past = _past(series, log.boat, start)
    if not np.isfinite(past.pack_w).any():
        return _unsaid(changes, row, "the pack's power was not read on this trip")
    given = _question(log, series, start, record.end_us)
    place = place_of(log, record.end_us)
    changed, rests_on = changed_question(given, log.boat, boat, place)
    sun_more_w = _sun_more_w(series, log.boat, boat, given)
    return _answer(changes, row, (given, changed), past, sun_more_w, rests_on)


def _question(log: OpenLog, series: Series, start: PackPosterior, end_us: int) -> ReachInput:
    """The boat as it was at the trip's start."""
    curve = here_now(log, end_us).curve
    load_w = hotel_w(series, log.boat)
    known = RangeInputs(log.boat, start, curve, stream.unknown("not asked"), hotel_w=load_w)
    usual_mps = usual_speed_mps(log.boat.hull)
    speeds = np.array([usual_mps])
    return known.question(speeds_mps=speeds, n=DRAWS)


def _past(series: Series, boat: Boat, start: PackPosterior) -> Past:
    """Means of steps; the shunt's zero taken off as far as it is known."""
    volts = series.get("pack_voltage_v")
    amps = series.get("pack_current_a") - start.offset_a
    pack_w = _means(series, volts * amps)
    driven = motoring(series, boat)
    power_w = propulsion_power_w(series, boat)
    drive_w = _means(series, np.where(driven, power_w, 0.0))
    water = series.get("speed_water_mps")
    ground = series.get("speed_ground_mps")
    speed_mps = np.where(np.isfinite(water), water, ground)
    return Past(pack_w, drive_w, _means(series, speed_mps), STEP_S)


def _means(series: Series, values: Floats) -> Floats:
    """Of whole steps, over what was read of each; NaN where nothing was."""
    readings = readings_per_step(STEP_S, series.step_s)
    rows = whole_steps(values, readings)
    count = np.isfinite(rows).sum(axis=1)
    total = np.nansum(rows, axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _sun_more_w(series: Series, now: Boat, then: Boat, given: ReachInput) -> Floats:
    """What other panels would have given more, (n, t) or (n, 1). [W]"""
    more_w = then.solar.peak_w - now.solar.peak_w
    if not more_w:
        return np.zeros((DRAWS, 1))
    if now.solar.peak_w > 0 and series.has("solar_power_w"):
        solar_w = _means(series, series.get("solar_power_w"))
        measured = np.nan_to_num(solar_w)
        normal = own_rng(given, 12).standard_normal((DRAWS, 1))
        elsewhere = np.maximum(1 + PANEL_SD * normal, 0.0)
        return elsewhere * measured * more_w / now.solar.peak_w
    lat = series.get("latitude_deg")
    lon = series.get("longitude_deg")
    known = np.isfinite(lat + lon)
    if not known.any():
        return np.zeros((DRAWS, 1))
    lat_deg = float(np.median(lat[known]))
    lon_deg = float(np.median(lon[known]))
    t_s = _means(series, series.t_utc_s)
    clear = haurwitz_w_m2(sine_of_height(lat_deg, lon_deg, t_s))
    normal = own_rng(given, 10).standard_normal((DRAWS, 1))
    share = np.clip(USUAL_SHARE + USUAL_SD * normal, 0.0, 1.0)
    return share * clear / STANDARD_W_M2 * more_w


def _answer(
    changes: tuple[ChangedKey, ...],
    row: TripRow,
    asked: tuple[ReachInput, ReachInput],
    past: Past,
    sun_more_w: Floats,
    rests_on: tuple[str, ...],
) -> TripWhatIf:
    """Both boats run through the trip; what was measured plus what lies between."""
    before, after = (sample(one) for one in asked)
    plain_w = np.tile(np.nan_to_num(past.pack_w), (DRAWS, 1))
    other_w = changed_w(past, before, after, asked[0].curve, sun_more_w)
    was = charge_over(before.pack, plain_w, past.step_s)
    would = charge_over(after.pack, other_w, past.step_s)
    measured, pick = _measured(row.charge_end, was[:, -1], asked[0])
    apart = would[:, -1] - was[:, -1]
    more = apart[pick]
    would = would[pick]
    back = np.clip(measured + more, 0.0, 1.0)
    lowest = back - would[:, -1] + would.min(axis=1)
    lowest = np.clip(lowest, 0.0, 1.0)
    reserve = asked[1].limits.reserve_frac
    more_w = (other_w - plain_w).sum(axis=1)
    energy_wh = more_w * past.step_s / HOUR_S
    return TripWhatIf(
        changes=changes,
        trip=row,
        charge_end=middle(back, "frac"),
        charge_more=middle(more, "frac", "draw by draw, the same trip for both"),
        charge_lowest=middle(lowest, "frac"),
        above_reserve_frac=float((lowest > reserve).mean()),
        energy_more=middle(energy_wh, "Wh"),
        rests_on=(*rests_on, "as full, in per cent, at the start as it was then; the same speeds"),
    )


def _measured(
    end: Estimate, was: Floats, given: ReachInput
) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Draws of the charge that was measured at the end, and those of the boat's draws that agree.

    A pack that would have been empty on a way that was made is no pack that was aboard
    (importance resampling, textbook).

    Args:
        was: Charge at the end as each draw of the boat as it is has it, (n,).
    """
    rng = own_rng(given, 11)
    mid = end.mid or 0.0
    sd = END_SD
    if end.low is not None and end.high is not None:
        told_sd = (end.high - end.low) / 2 / Z80
        sd = max(told_sd, LEAST_SD)
    apart = (was - mid) / np.hypot(sd, MODEL_SD)
    chi = np.square(apart)
    weight = np.exp(-0.5 * (chi - chi.min()))
    measured = mid + sd * rng.standard_normal(DRAWS)
    return measured, resample(weight, DRAWS, rng)


def _unsaid(changes: tuple[ChangedKey, ...], row: TripRow, why: str) -> TripWhatIf:
    charge = cannot_say(why, "frac")
    wh = cannot_say(why, "Wh")
    return TripWhatIf(changes, row, charge, charge, charge, None, wh, ())

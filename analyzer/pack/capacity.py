"""Capacity learned across trips, and how it and the resistance change with time.

Each trip that moved enough charge says how many ampere-hours belong to a change of charge that
somebody reports: a device on board, or the filter between two anchors. No single trip is
believed alone: one that disagrees with the others is left out, and said.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.series.derived import held_current_a
from analyzer.series.series import Series
from logger.units import HOUR_S

Floats = npt.NDArray[np.float64]

LEAST_CHANGE = 0.05  # of charge, for a trip to say anything; assumed
# Of a gauge's reading, at both ends: its steps (mostly 0.5 or 1 %) and its own filter. Assumed.
GAUGE_SD = 0.004
LOST_SHARE = 0.01  # of a trip without its current: more and its count is not used; assumed
GAIN_SD = 0.01  # of the shunt's gain, common to all trips: class 1; makers' data sheets
# Sigmas from the others beyond which a trip is not believed: 1 in 2,000 by chance. Assumed.
SPREAD_LIMIT = 3.5
UNFIT_SHARE = 0.25  # of a trip's capacity: an error larger than this says nothing; assumed
MAD_TO_SD = 1.4826  # standard deviation over median absolute deviation, normal: by definition
YEAR_S = 365.25 * 24 * HOUR_S  # by definition


@dataclass(frozen=True)
class TripCharge:
    """What one trip says.

    Args:
        name: Of the trip, for people.
        end_us: On the log's timeline. [µs]
        given_ah: Net charge out of the pack.
        change_frac, change_sd: By how much the charge fell, as reported.
    """

    name: str
    end_us: int
    given_ah: float
    change_frac: float
    change_sd: float

    @property
    def capacity_ah(self) -> float:
        """Ampere-hours per whole charge; negative or infinite where the report is wrong."""
        return self.given_ah / self.change_frac if self.change_frac else math.inf

    @property
    def sd_ah(self) -> float:
        """Standard deviation of the above."""
        return abs(self.capacity_ah * self.change_sd / self.change_frac)


@dataclass(frozen=True)
class Capacity:
    """Capacity from several trips.

    Args:
        estimate: [Ah]
        used: Names of the trips it rests on.
        left_out: Trip -> why it was not believed.
    """

    estimate: Estimate
    used: tuple[str, ...]
    left_out: dict[str, str]


def from_gauge(name: str, series: Series) -> TripCharge | None:
    """What a trip says by a device's own charge; None without the device or the whole current."""
    if not series.has("pack_current_a", "pack_soc_frac"):
        return None
    amps, lost = held_current_a(series)
    said = series.get("pack_soc_frac")
    seen = np.flatnonzero(np.isfinite(said))
    first, last = int(seen[0]), int(seen[-1])
    # what flowed unseen would be taken for less capacity
    if float(lost[first:last].sum()) > LOST_SHARE * max(last - first, 1):
        return None
    given = float(amps[first:last].sum()) * series.step_s / HOUR_S
    change = float(said[first] - said[last])
    end_us = series.t0_us + round(series.n * series.step_s * 1e6)
    return TripCharge(name, end_us, given, change, math.sqrt(2) * GAUGE_SD)


def learn(trips: list[TripCharge], least_trips: int = 3) -> Capacity:
    """Capacity that the trips agree on.

    Returns:
        An 80 % range; unknown while fewer than `least_trips` are believed.
    """
    left_out: dict[str, str] = {}
    usable = []
    for trip in trips:
        reason = _unfit(trip)
        if reason:
            left_out[trip.name] = reason
        else:
            usable.append(trip)
    usable, odd = _agreeing(usable)
    left_out.update(odd)
    if len(usable) < least_trips:
        reason = f"only {len(usable)} trips say something of the capacity, wants {least_trips}"
        return Capacity(cannot_say(reason, "Ah"), tuple(t.name for t in usable), left_out)
    ah = np.array([t.capacity_ah for t in usable])
    weight = 1 / np.array([t.sd_ah for t in usable]) ** 2
    mid = float(np.average(ah, weights=weight))
    # what the trips differ by counts where it is more than they say themselves
    scatter = float(np.sqrt(np.average((ah - mid) ** 2, weights=weight) / (len(ah) - 1)))
    # the shunt's gain is one error for all trips: more of them do not average it out
    sd = math.hypot(max(scatter, float(weight.sum()) ** -0.5), GAIN_SD * mid)
    reason = f"{len(usable)} trips agree; the shunt's own gain is taken as sure to 1 %"
    used = ("pack_current_a", *(t.name for t in usable))
    found = Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, "Ah", reason=reason, used=used)
    return Capacity(found, tuple(t.name for t in usable), left_out)


def _unfit(trip: TripCharge) -> str:
    """Why a trip says nothing of the capacity; empty if it does."""
    if abs(trip.given_ah) > 0 and trip.change_frac * trip.given_ah < 0:
        return (
            f"its gauge went {'up' if trip.change_frac < 0 else 'down'} by "
            f"{100 * abs(trip.change_frac):.1f} % while {trip.given_ah:.1f} Ah were "
            f"{'given' if trip.given_ah > 0 else 'taken'}: the gauge is not believed"
        )
    if abs(trip.change_frac) < LEAST_CHANGE:
        return f"the charge changed by only {100 * abs(trip.change_frac):.1f} %"
    if not math.isfinite(trip.capacity_ah) or trip.sd_ah > UNFIT_SHARE * abs(trip.capacity_ah):
        return "the charge at its ends is not known well enough"
    return ""


def _agreeing(trips: list[TripCharge]) -> tuple[list[TripCharge], dict[str, str]]:
    """The trips that agree with their median, and why the others are left out."""
    if len(trips) < 3:
        return trips, {}
    ah = np.array([t.capacity_ah for t in trips])
    middle = float(np.median(ah))
    # the median and its deviation, as one wild trip would move a mean
    usual = MAD_TO_SD * float(np.median(np.abs(ah - middle)))
    good, odd = [], {}
    for trip in trips:
        limit = SPREAD_LIMIT * math.hypot(trip.sd_ah, usual)
        if abs(trip.capacity_ah - middle) > limit:
            odd[trip.name] = (
                f"says {trip.capacity_ah:.1f} Ah where the others say {middle:.1f}: not believed"
            )
        else:
            good.append(trip)
    return good, odd


@dataclass(frozen=True)
class Trend:
    """Change with time of something learned trip by trip.

    Args:
        per_year: Relative change a year. [frac]
        sureness_frac: That it is in the direction of ageing.
        warmth: Mean and standard deviation of c, the share of the temperature's doubt that the
            history shows; as thought before where it shows none.
    """

    per_year: Estimate
    sureness_frac: float
    warmth: tuple[float, float] = (0.0, 1.0)


def trend(
    t_us: Floats,
    values: Floats,
    sd: Floats,
    ageing: int,
    least_days: float = 60.0,
    warmth: Floats | None = None,
) -> Trend:
    """Straight line through a history of values with their standard deviations.

    y = a + b·t + mean·c·x, with a and b free and c standard normal: where trips were colder the
    later they were, x takes up what b else would, and b is as open as the data leave it.

    Args:
        t_us, values, sd: Shape (n,). [µs], any unit, the same unit
        ageing: -1 where ageing lowers the value (capacity), 1 where it raises it.
        warmth: x, what one standard deviation of doubt about the temperature's effect does to
            each value, relative, (n,); None: no effect.
    Returns:
        Unknown where the history is too short to tell.
    """
    ok = np.isfinite(values) & np.isfinite(sd) & (sd > 0)
    t, y, s = (t_us[ok] - t_us.min()) / 1e6 / YEAR_S, values[ok], sd[ok]
    x = np.zeros(len(y)) if warmth is None else warmth[ok]
    if len(y) < 4 or np.ptp(t) * 365.25 < least_days:
        return Trend(cannot_say(f"wants four values over {least_days:.0f} days", "frac"), 0.5)
    w = 1 / s**2
    at, mean = float(np.average(t, weights=w)), float(np.average(y, weights=w))
    table = np.column_stack([np.ones(len(y)), t - at, mean * x])
    cov = np.linalg.inv(table.T @ (table * w[:, None]) + np.diag([0.0, 0.0, 1.0]))
    found_at = cov @ (table.T @ (w * (y - mean)))
    slope, effect = float(found_at[1]), float(found_at[2])
    chi = (float(w @ (y - mean - table @ found_at) ** 2) + effect**2) / (len(y) - 2)
    # values that scatter more than they say make the line less sure, never more
    error = math.sqrt(max(chi, 1.0) * cov[1, 1])
    mid, half = slope / mean, error / abs(mean)
    sure = 0.5 * (1 + math.erf(ageing * slope / error / math.sqrt(2)))
    found = Estimate(mid, mid - Z80 * half, mid + Z80 * half, "frac")
    return Trend(found, sure, (effect, math.sqrt(max(chi, 1.0) * cov[2, 2])))

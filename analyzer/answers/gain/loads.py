"""Sun, load and charge: what more panel, a quieter night and a known charge buy."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from analyzer.answers.gain.boat_changes import place_of
from analyzer.answers.gain.rows import GainRow, UnsaidGain
from analyzer.answers.gain.usual import YEAR_DAYS, Usual
from analyzer.environment.solar import (
    LEAST_CLEAR_W_M2,
    STANDARD_W_M2,
    USUAL_SD,
    USUAL_SHARE,
    haurwitz_w_m2,
    sine_of_height,
)
from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.range.reach import middle, reach
from analyzer.range.sample import sample
from analyzer.range.what_if.changes import own_rng
from analyzer.series.series import Series, load
from logger.units import DAY_S, HOUR_S, UNDATED_S

Floats = npt.NDArray[np.float64]
Said = Iterator[GainRow | UnsaidGain]

MORE_PANEL_W = 100.0  # by definition of the question
LOOK_DAYS, STEP_S = 30.0, 600.0  # of log that sun and load are read from, and how finely; assumed
LEAST_STEPS = 36  # of ten minutes with a high sun, or by night: six hours; assumed
LEAST_DAYS = 3  # with such hours, before their mean is believed; assumed
SEASON_SD = 0.08  # of a year's share of a clear sky beside the days seen; assumed
WORTH_W = 3.0  # a night's load above its quiet hours that is worth a word; assumed
QUIET = 20.0  # per cent of the night's hours that are taken as quiet; assumed
SHARES = np.linspace(0.05, 0.95, 13)  # of the charge's doubt, by choice


@dataclass(frozen=True)
class _Sky:
    """The sun where the boat is. day_h, year_h: Hours of full sun in a clear day of now, and in a
    clear year. night_h: Hours of night."""

    day_h: float
    year_h: float
    night_h: float


def _sky(place_deg: tuple[float, float], utc_s: float) -> _Sky:
    """Clear-sky sums, source as for `haurwitz_w_m2`."""
    steps = utc_s + np.arange(0.0, DAY_S, STEP_S)
    sine = sine_of_height(*place_deg, steps)
    year = utc_s + np.arange(0.0, YEAR_DAYS * DAY_S, 7 * HOUR_S + STEP_S)
    per_year = haurwitz_w_m2(sine_of_height(*place_deg, year)).mean() / STANDARD_W_M2
    return _Sky(
        day_h=float(haurwitz_w_m2(sine).mean() / STANDARD_W_M2 * 24.0),
        year_h=float(per_year * 24.0 * YEAR_DAYS),
        night_h=float((sine < 0).mean() * 24.0),
    )


def panel(usual: Usual) -> Said:
    """A hundred watts more panel, and the same panel out of the shade."""
    place = place_of(usual.log, usual.end_us)
    shade = "the panels aboard out of the shade"
    yield UnsaidGain(
        "shade", shade, "cloud and shade are not told apart from the yield alone",
        "the panels' power over some clear days in one berth, hour by hour",
    )  # fmt: skip
    text = f"{MORE_PANEL_W:.0f} W more panel"
    if place.place_deg is None or place.utc_s < UNDATED_S:
        yield UnsaidGain("panel", text, "where and when the log is from is not known", "a GPS")
        return
    sky = _sky(place.place_deg, place.utc_s)
    seen = _share(usual, place.place_deg)
    mean, sd = seen or (USUAL_SHARE, USUAL_SD)
    normal = own_rng(usual.given, 8).standard_normal((2, len(usual.idle_s)))
    share = np.clip(mean + sd * normal[0], 0.02, 1.0)
    in_year = np.clip(share + SEASON_SD * normal[1], 0.02, 1.0)
    day_wh = MORE_PANEL_W * sky.day_h * share
    by = "the share of a clear sky that the panels aboard show"
    yield GainRow(
        "panel",
        text,
        middle(day_wh / usual.wh_per_m, "m"),
        middle(day_wh / _load_w(usual) * HOUR_S, "s"),
        middle(MORE_PANEL_W * sky.year_h * in_year, "Wh", "if the pack always has room for it"),
        f"one day's sun at this time of the year, by {by if seen else 'the usual share of it'}",
        "" if seen else "the panels' power over some days",
    )


def _load_w(usual: Usual) -> Floats:
    return np.maximum(sample(usual.given).draws.hotel_w, 1.0)


def _lately(usual: Usual, name: str) -> Series:
    start_us = max(usual.end_us - int(LOOK_DAYS * DAY_S * 1e6), 0)
    span = usual.log.store.span()
    start_us = max(start_us, span[0]) if span else start_us
    return load(usual.log.store, (name,), start_us, usual.end_us, STEP_S)


def _share(usual: Usual, place_deg: tuple[float, float]) -> tuple[float, float] | None:
    """Mean share of a clear sky that the panels gave, and its doubt; None where too little."""
    peak_w, series = usual.boat.solar.peak_w, _lately(usual, "solar_power_w")
    if peak_w <= 0 or not series.has("solar_power_w"):
        return None
    power_w, t_s = series.get("solar_power_w"), series.t_utc_s
    clear = haurwitz_w_m2(sine_of_height(*place_deg, t_s))
    ok = np.isfinite(power_w) & (clear > LEAST_CLEAR_W_M2)
    days = _by_day(t_s[ok], power_w[ok] / (clear[ok] / STANDARD_W_M2 * peak_w))
    if ok.sum() < LEAST_STEPS or len(days) < LEAST_DAYS:
        return None
    return float(days.mean()), float(days.std(ddof=1) / np.sqrt(len(days)) + 0.02)


def _by_day(t_s: Floats, values: Floats) -> Floats:
    """Means of values day by day, (days,)."""
    day = np.floor(t_s / DAY_S)
    return np.array([values[day == one].mean() for one in np.unique(day)])


def night_load(usual: Usual) -> Said:
    """The night's load brought down to that of its own quiet hours."""
    text = "bring the night's load down to that of its quiet hours"
    place, series = place_of(usual.log, usual.end_us), _lately(usual, "hotel_power_w")
    reading = "a meter of the load (hotel_power_w) over some nights aboard"
    if not series.has("hotel_power_w") or place.place_deg is None or place.utc_s < UNDATED_S:
        yield UnsaidGain("night_load", text, "the load by night is not measured", reading)
        return
    power_w, t_s = series.get("hotel_power_w"), series.t_utc_s
    ok = np.isfinite(power_w) & (sine_of_height(*place.place_deg, t_s) < 0)
    nights = _by_day(t_s[ok] - DAY_S / 2, power_w[ok])
    if ok.sum() < LEAST_STEPS or len(nights) < LEAST_DAYS:
        yield UnsaidGain("night_load", text, "too few nights are in the log", reading)
        return
    over_w = float(power_w[ok].mean() - np.percentile(power_w[ok], QUIET))
    if over_w < WORTH_W:
        yield UnsaidGain("night_load", text, f"by night it is even, within {over_w:.0f} W")
        return
    sd_w = float(nights.std(ddof=1) / np.sqrt(len(nights))) + 1.0
    normal = own_rng(usual.given, 9).standard_normal(len(usual.idle_s))
    night_h = _sky(place.place_deg, place.utc_s).night_h
    night_wh = np.maximum(over_w + sd_w * normal, 0.0) * night_h
    yield GainRow(
        "night_load",
        text,
        middle(night_wh / usual.wh_per_m, "m"),
        middle(night_wh / _load_w(usual) * HOUR_S, "s"),
        usual.in_year(night_wh, len(nights) / max(_span_days(usual), 1.0) * YEAR_DAYS),
        f"one night of {night_h:.0f} h, {over_w:.0f} W above its quietest fifth",
    )


def _span_days(usual: Usual) -> float:
    span = usual.log.store.span()
    return min((span[1] - span[0]) / 1e6 / DAY_S, LOOK_DAYS) if span else 0.0


def charge_known(usual: Usual) -> Said:
    """What knowing the charge is worth: how much more the lower end of the range then tells."""
    text = "charge to full more often, so that the charge is known"
    posterior = usual.here.charge
    if posterior is None or posterior.sign_reversed:
        yield UnsaidGain(
            "charge_known", text, "the pack is not measured", "the pack's voltage and current"
        )
        return
    n = len(usual.idle_s)
    charge = posterior.draws(n, np.random.default_rng(usual.given.seed))
    given = replace(usual.given, charge=charge)
    told_m = _lower_end(reach(given).distance_m)
    gains = []
    for soc in np.quantile(charge["soc"], SHARES):
        known = replace(given, charge={**charge, "soc": np.full(n, soc)})
        gains.append(_lower_end(reach(known).distance_m) - told_m)
    low, mid, high = (float(v) for v in np.interp((0.1, 0.5, 0.9), SHARES, gains))
    yield GainRow(
        "charge_known",
        text,
        Estimate(mid, min(low, high), max(low, high), "m"),
        cannot_say("the pack holds no more by it", "s"),
        cannot_say("it saves nothing", "Wh"),
        "from here, not from full: the lower end of the range told with the charge known, less "
        "that told now; the pack itself goes no further",
    )


def _lower_end(distance_m: Floats) -> float:
    """Of the 80 % range at the usual speed."""
    return float(np.percentile(distance_m[:, -1], 10))

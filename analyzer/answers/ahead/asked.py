"""What a passage is asked with: the wish, what the log says beside it, and what meets the boat."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analyzer.answers.snapshot import Here
from analyzer.environment.solar import (
    USUAL_SD,
    USUAL_SHARE,
    ClearSkySun,
    share_today,
)
from analyzer.environment.stream_table import StreamTable, TableStream, read_stream_table
from analyzer.environment.tide_fit import LearnedTide, learned
from analyzer.environment.wind import ONE_WIND_S, Wind
from analyzer.errors import BadRoute
from analyzer.learned import stream_history
from analyzer.range import inputs
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.passage import MovingWater, NoSun, Sun, Surroundings
from analyzer.range.plan import FEW, Passage
from analyzer.range.route import Route, SeenStream
from analyzer.series.log import OpenLog
from analyzer.series.series import load
from logger.units import KN

DRAWS = 1000  # a probability of 0.9 to 1 % (one standard deviation), by definition
LONGEST_S = 48 * 3600.0  # of a passage that the sun is looked up for; assumed
TIDE_KEPT_S = 9 * 3600.0  # so long a tide can be followed from what was seen of it; assumed
TODAY_US = 12 * 3600 * 1_000_000  # of log that today's sun is read from; assumed
SAME_SKY_S = 24 * 3600.0  # so long clouds are taken to stay; common practice, no source
# The speeds to choose from: so many, from this share of the fastest worth asking for; assumed.
SPEEDS, SLOWEST_FRAC = 16, 0.45
CHARGE_SD = 0.01  # of a charge at departure that somebody tells; assumed

ANY_WIND = "not known: any from anywhere is counted with, so the range is wider"


@dataclass(frozen=True)
class PlanWish:
    """What the user gave. Speeds through water [m/s], times UTC [s], charge and reserve [frac].

    stream: speed [m/s] and direction it goes toward [deg true], where it is thought to stay so.
    """

    route: Path
    departure_s: float | None = None
    speeds_mps: tuple[float, ...] | None = None  # one for all legs, or one each
    stream_table: Path | None = None
    wind: Wind | None = None
    arrive_by_s: float | None = None
    charge_frac: float | None = None
    reserve_frac: float | None = None  # else the boat file's
    stream: tuple[float, float] | None = None
    leave_within_s: float | None = None  # the best hour is looked for, from the departure on


@dataclass(frozen=True)
class Asked:
    """A question about a passage with what the log says. departure_s: UTC s."""

    log: OpenLog
    wish: PlanWish
    here: Here
    end_us: int
    route: Route
    departure_s: float
    tide: LearnedTide | str = ""  # of the boat's own trips here, or why there is none

    @property
    def ahead_s(self) -> float:
        """From the log's newest reading until departure. [s]"""
        return self.departure_s - self.end_us / 1e6


def passage_of(asked: Asked, table: StreamTable | None) -> Passage:
    """The passage at its departure, with what meets the boat from then on.

    Args:
        table: The stream as it was given; None: as the log shows it.
    Raises:
        BadRoute: The number of speeds is not what it should be, or no charge is known.
    """
    share, _ = sun_share(asked)
    rng = np.random.default_rng(2)
    return Passage(
        given=question(asked),
        route=asked.route,
        departure_s=asked.departure_s,
        around=surroundings(asked, table, share, DRAWS, rng),
        few_around=surroundings(asked, table, share, FEW, rng),
        speeds_mps=_speeds(asked.wish, len(asked.route.legs)),
        arrive_by_s=asked.wish.arrive_by_s,
    )


def surroundings(
    asked: Asked,
    table: StreamTable | None,
    share: tuple[float, float] | None,
    n: int,
    rng: np.random.Generator,
) -> Surroundings:
    """What meets the boat on the way, n times."""
    water = _water(asked, table, n, rng)
    sun: Sun = NoSun()
    if share is not None:
        first = asked.route.legs[0]
        place = (first.latitude_deg, first.longitude_deg)
        span_s = (asked.departure_s, asked.departure_s + LONGEST_S)
        sun = ClearSkySun.ahead(asked.log.boat.solar.peak_w, place, span_s, share, n, rng)
    return Surroundings(water, sun, asked.end_us / 1e6)


def _water(
    asked: Asked, table: StreamTable | None, n: int, rng: np.random.Generator
) -> MovingWater | None:
    """The stream by its table; long after the log at any time of its tide; else as it goes on."""
    if table is not None:
        return TableStream.around(table, n, rng)
    if asked.ahead_s <= TIDE_KEPT_S and (asked.here.stream.known or isinstance(asked.tide, str)):
        return None
    if isinstance(asked.tide, LearnedTide):
        return asked.tide.draws(asked.departure_s, n, rng)
    paths = asked.here.stream.paths(n, rng).at_any_tide(rng)
    return SeenStream(paths, asked.end_us / 1e6)


def question(asked: Asked) -> ReachInput:
    """The boat and its state, with the speeds to choose from."""
    wish, here = asked.wish, asked.here
    charge = None if here.charge and here.charge.sign_reversed else here.charge
    if charge is None and wish.charge_frac is None:
        why = "its current and voltage are not there"
        if here.charge:
            why = "its current comes with the wrong sign"
        raise BadRoute(
            f"the log does not say how full the pack is ({why}): give the charge at "
            "departure, such as --charge 90"
        )
    soon = abs(asked.ahead_s) < ONE_WIND_S
    known = inputs.RangeInputs.from_snapshot(
        asked.log.boat,
        here,
        charge=charge,
        present=here.present if soon and charge is not None else None,
        wind=wish.wind or (here.wind if soon else None),
        warmths=(),
    )
    given = known.question(n=DRAWS)
    if wish.charge_frac is not None:
        spread = CHARGE_SD * np.random.default_rng(3).standard_normal(DRAWS)
        soc = np.clip(wish.charge_frac + spread, 0, 1)
        given = replace(given, charge={**given.charge, "soc": soc})
    top = given.speeds_mps[-1]
    return replace(given, speeds_mps=np.linspace(SLOWEST_FRAC * top, top, SPEEDS), as_now=None)


def tide_near(log: OpenLog, route: Route) -> LearnedTide | str:
    """The tide learned from the boat's own trips near a route, or one clause why there is none."""
    places = [(leg.latitude_deg, leg.longitude_deg) for leg in route.legs]
    return learned(stream_history.near(log, places))


def _speeds(wish: PlanWish, legs: int) -> tuple[float, ...] | None:
    """One speed for each leg, or none where they are to be chosen."""
    if wish.speeds_mps is None:
        return None
    if len(wish.speeds_mps) == 1:
        return wish.speeds_mps * legs
    if len(wish.speeds_mps) != legs:
        have = "one leg" if legs == 1 else f"{legs} legs"
        wanted = "" if legs == 1 else f" for all or {legs}"
        raise BadRoute(
            f"the route has {have}: give one speed{wanted}, got {len(wish.speeds_mps)} (a decimal "
            "part follows a point, as in 4.5)"
        )
    return wish.speeds_mps


def sun_share(asked: Asked) -> tuple[tuple[float, float] | None, str]:
    """The panels' share of a clear sky, and in words where it comes from."""
    peak, start_us = asked.log.boat.solar.peak_w, max(asked.end_us - TODAY_US, 0)
    if peak <= 0:
        return None, "no panels in the boat file"
    series = load(asked.log.store, ("solar_power_w",), start_us, asked.end_us, 60.0)
    first = asked.route.legs[0]
    try:
        share = share_today(series, peak, first.latitude_deg, first.longitude_deg)
    except ModuleNotFoundError:
        return None, "not counted: the clear-sky bound wants pvlib (the extra `sun`)"
    words = "as the yield of the log's last hours shows"
    if not series.has("solar_power_w"):
        words = "the usual share, as no yield is measured"
    elif asked.ahead_s > SAME_SKY_S:
        share = USUAL_SHARE, USUAL_SD
        words = f"the usual share, as the log's last yield is of {_ago(asked.ahead_s)} before"
    elif share == (USUAL_SHARE, USUAL_SD):
        words = "the usual share, as the log's last hours had no sun high enough to judge by"
    return share, f"{100 * share[0]:.0f} % of a clear sky, {words}"


def stream_table(wish: PlanWish, departure_s: float) -> StreamTable | None:
    """The stream as it was given, by times or once for all; None where it was not."""
    if wish.stream_table:
        return read_stream_table(wish.stream_table, departure_s)
    if wish.stream is None:
        return None
    speed_mps, toward = wish.stream[0], np.radians(wish.stream[1])
    east, north = speed_mps * np.sin(toward), speed_mps * np.cos(toward)
    return StreamTable(np.array([departure_s]), np.array([east]), np.array([north]))


def stream_words(table: StreamTable | None, asked: Asked) -> str:
    if table is not None and not asked.wish.stream_table:
        return "as given, all the way"
    if table is not None:
        return table.told
    stream, learnt = asked.here.stream, asked.tide
    kept = stream.known and asked.ahead_s <= TIDE_KEPT_S
    if isinstance(learnt, LearnedTide) and not kept:
        names = ", ".join(learnt.names)
        return (
            f"the tide that {learnt.trips} of the boat's own trips near here have shown ({names}): "
            "it foretold trips held out better than the last stream and their mean did"
        )
    if not stream.known:
        return f"not known, so the range is wider: {stream.reason}"
    if asked.ahead_s > TIDE_KEPT_S:
        return (
            f"as strong as seen in the log {_ago(asked.ahead_s)} before, at an unknown time of its "
            f"tide: a table of times would say more{'; ' if learnt else ''}{learnt}"
        )
    return f"as seen in the log, going on as a tide ({stream.reason})"


def wind_words(wind: Wind | None) -> str:
    if wind is None:
        return ANY_WIND
    if wind.speed_mps < 0.5 * KN:
        return f"calm, {wind.reason}"
    return f"{wind.speed_mps / KN:.0f} kn from {round(wind.from_deg) % 360:03d}°, {wind.reason}"


def old_charge(wish: PlanWish, age_s: float) -> tuple[str, ...]:
    """A caution where the charge at departure is an old reading."""
    if wish.charge_frac is not None or age_s < TIDE_KEPT_S:
        return ()
    return (
        f"The charge is the log's of {_ago(age_s)} before departure: say what it will be then.",
    )


def _ago(age_s: float) -> str:
    hours = round(age_s / 3600)
    if hours > 24 * 3650:
        return "an unknown time"  # the log has no date
    return f"{hours} hours" if hours < 48 else f"{hours / 24:.0f} days"

"""Will this passage work: composed from the log and the boat file."""

import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from analyzer.answers.grounded import PLAN_INPUTS, condition
from analyzer.answers.snapshot import Here, here_now
from analyzer.environment.solar import (
    USUAL_SD,
    USUAL_SHARE,
    ClearSkySun,
    share_today,
)
from analyzer.environment.stream_table import (
    StreamTable,
    TableStream,
    parse_utc,
    read_stream_table,
)
from analyzer.environment.wind import ONE_WIND_S, Wind
from analyzer.errors import BadRoute
from analyzer.estimation.ground import Ground
from analyzer.estimation.results import SCHEMA
from analyzer.range import inputs
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.passage import MovingWater, NoSun, Sun, Surroundings
from analyzer.range.plan import (
    FEW,
    Passage,
    Plan,
    PlanLeg,
    plan,
)
from analyzer.range.route import (
    MOST_PLACES,
    Place,
    Route,
    SeenStream,
    gpx_places,
    read_gpx,
    thinned,
)
from analyzer.series.log import OpenLog
from analyzer.series.series import load
from logger.units import KN, UNDATED_S

__all__ = ["Place", "PlanLeg", "Wind", "parse_utc", "shown_places"]  # for the faces

DRAWS = 1000  # a probability of 0.9 to 1 % (one standard deviation), by definition
LONGEST_S = 48 * 3600.0  # of a passage that the sun is looked up for; assumed
SHOWN_DIGITS = 2  # of a probability: it is judged as it is shown, in whole per cent; by definition
TIDE_KEPT_S = 9 * 3600.0  # so long a tide can be followed from what was seen of it; assumed
TODAY_US = 12 * 3600 * 1_000_000  # of log that today's sun is read from; assumed
SAME_SKY_S = 24 * 3600.0  # so long clouds are taken to stay; common practice, no source
# The speeds to choose from: so many, from this share of the fastest worth asking for; assumed.
SPEEDS, SLOWEST_FRAC = 16, 0.45
CHARGE_SD = 0.01  # of a charge at departure that somebody tells; assumed

ANY_WIND = "not known: any from anywhere is counted with, so the range is wider"

CAUTIONS = (
    "A plan is no promise: keep the reserve, a sail ready and an anchor clear to let go.",
    "Tables of streams and forecasts of wind are never quite right; look again on the way.",
)


@dataclass(frozen=True)
class PlanAnswer:
    """A planned passage.

    stream_from: what stream was used. wind_from: what wind. sun_from: what sun.
    enough: whether the wanted sureness of arriving above the reserve is reached.
    """

    boat: str
    plan: Plan
    reserve_frac: float
    sureness_frac: float
    enough: bool
    stream_from: str
    wind_from: str
    sun_from: str
    cautions: tuple[str, ...]
    grounds: tuple[Ground, ...] = ()  # how every input stands
    condition: str = ""  # what of them is broken: the first clause; empty where nothing is
    schema: int = SCHEMA


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


@dataclass(frozen=True)
class Asked:
    """A question about a passage with what the log says. departure_s: UTC s."""

    log: OpenLog
    wish: PlanWish
    here: Here
    end_us: int
    route: Route
    departure_s: float

    @property
    def ahead_s(self) -> float:
        """From the log's newest reading until departure. [s]"""
        return self.departure_s - self.end_us / 1e6


def forecast(speed_mps: float, from_deg: float) -> Wind:
    """A true wind by a forecast: less sure than a sensor's.

    Args:
        from_deg: Where it comes from.
    """
    return Wind(speed_mps, from_deg, sd_mps=0.5 + 0.15 * speed_mps)  # assumed


def plan_passage(log: OpenLog, wish: PlanWish) -> PlanAnswer:
    """Will this passage work? See `with_passage`."""
    return with_passage(log, wish)[0]


def with_passage(log: OpenLog, wish: PlanWish) -> tuple[PlanAnswer, Asked, Passage]:
    """Will this passage work; with the question, and the passage at the speeds of the answer.

    Raises:
        BadRoute: A file or the number of speeds is not what it should be.
    """
    log = _with_reserve(log, wish.reserve_frac)
    span = log.store.span()
    end_us = span[1] + 1 if span else 0
    here = here_now(log, end_us)
    route = read_gpx(wish.route)
    departure_s = wish.departure_s if wish.departure_s is not None else _now_s(log, end_us)
    _check_times(wish, departure_s)
    asked = Asked(log, wish, here, end_us, route, departure_s)
    given = _question(asked)
    speeds = _speeds(wish, len(route.legs))
    table, share, sun_from = stream_table(wish, departure_s), *sun_share(asked)
    rng = np.random.default_rng(2)
    passage = Passage(
        given=given,
        route=route,
        departure_s=departure_s,
        around=surroundings(asked, table, share, DRAWS, rng),
        few_around=surroundings(asked, table, share, FEW, rng),
        speeds_mps=speeds,
        arrive_by_s=wish.arrive_by_s,
    )
    made = plan(passage)
    sureness = log.boat.reserve.return_sureness_frac
    answer = PlanAnswer(
        boat=log.boat.name,
        plan=made,
        reserve_frac=log.boat.reserve.soc_frac,
        sureness_frac=sureness,
        enough=round(made.arrives_frac, SHOWN_DIGITS) >= sureness,
        stream_from=_stream_words(table, asked),
        wind_from=_wind_words(given.wind),
        sun_from=sun_from,
        cautions=(*_old_charge(wish, asked.ahead_s), *_thinned(route), *CAUTIONS),
        grounds=here.grounds,
        condition=_condition(asked),
    )
    chosen = tuple(leg.speed_water_mps for leg in made.legs)
    return answer, asked, replace(passage, speeds_mps=chosen)


def _check_times(wish: PlanWish, departure_s: float) -> None:
    """Raises BadRoute where the passage would have to end before it begins."""
    if wish.arrive_by_s is not None and wish.arrive_by_s <= departure_s:
        late = datetime.fromtimestamp(wish.arrive_by_s, UTC)
        leave = datetime.fromtimestamp(departure_s, UTC)
        raise BadRoute(
            f"arriving by {late:%Y-%m-%dT%H:%MZ} wants an earlier departure than "
            f"{leave:%Y-%m-%dT%H:%MZ}: give a later arrival, or another --depart"
        )


def shown_places(path: Path) -> list[Place]:
    """The places of a GPX file that a plan would use. Raises BadRoute."""
    places, _ = gpx_places(path)
    return thinned(places) if len(places) > MOST_PLACES else places


def _thinned(route: Route) -> tuple[str, ...]:
    if route.places <= MOST_PLACES:
        return ()
    return (
        f"Of the route's {route.places} places {len(route.legs) + 1} are used: corners between "
        "them are cut.",
    )


def _condition(asked: Asked) -> str:
    """What of the inputs is broken; of a passage that starts now, from what the log says."""
    if asked.ahead_s > ONE_WIND_S:
        return ""
    wanted = PLAN_INPUTS if asked.wish.charge_frac is None else PLAN_INPUTS[1:]
    return condition(asked.here.grounds, wanted, asked.end_us / 1e6)


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
    if asked.ahead_s <= TIDE_KEPT_S:
        return None
    paths = asked.here.stream.paths(n, rng).at_any_tide(rng)
    return SeenStream(paths, asked.end_us / 1e6)


def _now_s(log: OpenLog, end_us: int) -> float:
    """Now, by the log where it is of this boot: a board's calendar may be wrong. [UTC s]"""
    age_s = log.store.age_s()
    if age_s is None or end_us / 1e6 < UNDATED_S:
        return time.time()
    return end_us / 1e6 + age_s


def _ago(age_s: float) -> str:
    hours = round(age_s / 3600)
    if hours > 24 * 3650:
        return "an unknown time"  # the log has no date
    return f"{hours} hours" if hours < 48 else f"{hours / 24:.0f} days"


def _old_charge(wish: PlanWish, age_s: float) -> tuple[str, ...]:
    """A caution where the charge at departure is an old reading."""
    if wish.charge_frac is not None or age_s < TIDE_KEPT_S:
        return ()
    return (
        f"The charge is the log's of {_ago(age_s)} before departure: say what it will be then.",
    )


def _wind_words(wind: Wind | None) -> str:
    if wind is None:
        return ANY_WIND
    if wind.speed_mps < 0.5 * KN:
        return f"calm, {wind.reason}"
    return f"{wind.speed_mps / KN:.0f} kn from {round(wind.from_deg) % 360:03d}°, {wind.reason}"


def _question(asked: Asked) -> ReachInput:
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


def _with_reserve(log: OpenLog, reserve_frac: float | None) -> OpenLog:
    """The same log and boat with another reserve."""
    if reserve_frac is None:
        return log
    kept = log.boat.reserve.model_copy(update={"soc_frac": reserve_frac})
    return OpenLog(log.store, log.boat.model_copy(update={"reserve": kept}))


def stream_table(wish: PlanWish, departure_s: float) -> StreamTable | None:
    """The stream as it was given, by times or once for all; None where it was not."""
    if wish.stream_table:
        return read_stream_table(wish.stream_table, departure_s)
    if wish.stream is None:
        return None
    speed_mps, toward = wish.stream[0], np.radians(wish.stream[1])
    east, north = speed_mps * np.sin(toward), speed_mps * np.cos(toward)
    return StreamTable(np.array([departure_s]), np.array([east]), np.array([north]))


def _stream_words(table: StreamTable | None, asked: Asked) -> str:
    if table is not None and not asked.wish.stream_table:
        return "as given, all the way"
    if table is not None:
        return table.told
    stream = asked.here.stream
    if not stream.known:
        return f"not known, so the range is wider: {stream.reason}"
    if asked.ahead_s > TIDE_KEPT_S:
        return (
            f"as strong as seen in the log {_ago(asked.ahead_s)} before, at an unknown time of its "
            "tide: a table of times would say more"
        )
    return f"as seen in the log, going on as a tide ({stream.reason})"

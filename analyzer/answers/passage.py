"""Will this passage work, and the state of the hull: composed from the log and the boat file."""

import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from analyzer.answers.snapshot import Here, here_now
from analyzer.environment.solar import (
    USUAL_SD,
    USUAL_SHARE,
    ClearSkySun,
    share_today,
)
from analyzer.environment.stream_table import StreamTable, TableStream, read_stream_table
from analyzer.environment.wind import ONE_WIND_S, Wind
from analyzer.errors import BadRoute
from analyzer.range import inputs
from analyzer.range.passage import MovingWater, NoSun, Sun
from analyzer.range.plan import (
    FEW,
    Passage,
    Plan,
    plan,
)
from analyzer.range.reach import ReachInput
from analyzer.range.route import SeenStream, read_gpx
from analyzer.series.log import Context
from analyzer.series.series import load
from logger.units import KN, UNDATED_S

DRAWS = 1000
LONGEST_S = 48 * 3600.0
TIDE_KEPT_S = 9 * 3600.0  # that long a semi-diurnal tide can be followed from what was seen
TODAY_US = 12 * 3600 * 1_000_000
SAME_SKY_S = 24 * 3600.0  # so long clouds are taken to stay; common practice, no source
SLOWEST_FRAC = 0.45  # of the fastest speed worth asking for; slower is no passage

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


def plan_passage(ctx: Context, wish: PlanWish) -> PlanAnswer:
    """Will this passage work?

    Raises:
        BadRoute: A file or the number of speeds is not what it should be.
    """
    ctx = _with_reserve(ctx, wish.reserve_frac)
    span = ctx.store.span()
    end_us = span[1] + 1 if span else 0
    here = here_now(ctx, end_us)
    route = read_gpx(wish.route)
    departure = wish.departure_s if wish.departure_s is not None else _now_s(ctx, end_us)
    given = _question(ctx, here, wish, _wind(wish, here, departure - end_us / 1e6))
    speeds = _speeds(wish, len(route.legs))
    rng = np.random.default_rng(2)
    place = (route.legs[0].latitude_deg, route.legs[0].longitude_deg)
    share, sun_from = _share(ctx, end_us, place, departure - end_us / 1e6)
    table = _table(wish, departure)

    def water(n: int) -> MovingWater:
        if table is not None:
            return TableStream.around(table, n, rng)
        paths = here.stream.paths(n, rng)
        if departure - end_us / 1e6 > TIDE_KEPT_S:
            paths = paths.at_any_tide(rng)
        return SeenStream(paths, end_us / 1e6)

    def sun(n: int) -> Sun:
        if share is None:
            return NoSun()
        span_s = (departure, departure + LONGEST_S)
        return ClearSkySun.ahead(ctx.boat.solar.peak_w, place, span_s, share, n, rng)

    made = plan(
        Passage(
            given=given,
            route=route,
            departure_s=departure,
            water=water(DRAWS),
            sun=sun(DRAWS),
            few_water=water(FEW),
            few_sun=sun(FEW),
            speeds_mps=speeds,
            arrive_by_s=wish.arrive_by_s,
            wind_s=end_us / 1e6,
        )
    )
    sureness = ctx.boat.reserve.return_sureness_frac
    return PlanAnswer(
        boat=ctx.boat.name,
        plan=made,
        reserve_frac=ctx.boat.reserve.soc_frac,
        sureness_frac=sureness,
        enough=made.arrives_frac >= sureness,
        stream_from=_stream_words(table, here, wish, departure - end_us / 1e6),
        wind_from=_wind_words(given.wind),
        sun_from=sun_from,
        cautions=(*_old_charge(wish, departure - end_us / 1e6), *CAUTIONS),
    )


def _now_s(ctx: Context, end_us: int) -> float:
    """Now, by the log where it is of this boot: a board's calendar may be wrong. [UTC s]"""
    age_s = ctx.store.age_s()
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


def _wind(wish: PlanWish, here: Here, age_s: float) -> Wind | None:
    """The wind as given, else as measured where she leaves soon enough for it; else unknown."""
    return wish.wind or (here.wind if abs(age_s) < ONE_WIND_S else None)


def _wind_words(wind: Wind | None) -> str:
    if wind is None:
        return ANY_WIND
    if wind.speed_mps < 0.5 * KN:
        return f"calm, {wind.reason}"
    return f"{wind.speed_mps / KN:.0f} kn from {round(wind.from_deg) % 360:03d}°, {wind.reason}"


def _question(ctx: Context, here: Here, wish: PlanWish, wind: Wind | None) -> ReachInput:
    """The boat and its state, with the speeds to choose from."""
    if here.charge is None or here.charge.sign_reversed:
        if wish.charge_frac is None:
            why = "its current and voltage are not there"
            if here.charge:
                why = "its current comes with the wrong sign"
            raise BadRoute(
                f"the log does not say how full the pack is ({why}): give the charge at "
                "departure, such as --charge 90"
            )
        given = inputs.without_log(ctx.boat, here.curve, here.stream, n=DRAWS)
    else:
        given = inputs.question(
            ctx.boat,
            here.charge,
            here.curve,
            here.stream,
            weakest=here.weakest,
            hotel_w=here.hotel_w,
            wind=wind,
            n=DRAWS,
        )
    if wish.charge_frac is not None:
        soc = np.clip(
            wish.charge_frac + 0.01 * np.random.default_rng(3).standard_normal(DRAWS), 0, 1
        )
        given = replace(given, charge={**given.charge, "soc": soc})
    top = given.speeds_mps[-1]
    return replace(
        given, wind=wind, speeds_mps=np.linspace(SLOWEST_FRAC * top, top, 16), as_now=None
    )


def _speeds(wish: PlanWish, legs: int) -> tuple[float, ...] | None:
    """One speed for each leg, or none where they are to be chosen."""
    if wish.speeds_mps is None:
        return None
    if len(wish.speeds_mps) == 1:
        return wish.speeds_mps * legs
    if len(wish.speeds_mps) != legs:
        raise BadRoute(
            f"the route has {legs} legs: give one speed for all or {legs}, "
            f"got {len(wish.speeds_mps)}"
        )
    return wish.speeds_mps


def _share(
    ctx: Context, end_us: int, place: tuple[float, float], age_s: float
) -> tuple[tuple[float, float] | None, str]:
    """The panels' share of a clear sky, and in words where it comes from."""
    peak = ctx.boat.solar.peak_w
    if peak <= 0:
        return None, "no panels in the boat file"
    series = load(ctx.store, ("solar_power_w",), max(end_us - TODAY_US, 0), end_us, 60.0)
    try:
        share = share_today(series, peak, place[0], place[1])
    except ModuleNotFoundError:
        return None, "not counted: the clear-sky bound wants pvlib (the extra `sun`)"
    words = "as the yield of the log's last hours shows"
    if not series.has("solar_power_w"):
        words = "the usual share, as no yield is measured"
    elif age_s > SAME_SKY_S:
        share = USUAL_SHARE, USUAL_SD
        words = f"the usual share, as the log's last yield is of {_ago(age_s)} before"
    return share, f"{100 * share[0]:.0f} % of a clear sky, {words}"


def _with_reserve(ctx: Context, reserve_frac: float | None) -> Context:
    """The same log and boat with another reserve."""
    if reserve_frac is None:
        return ctx
    kept = ctx.boat.reserve.model_copy(update={"soc_frac": reserve_frac})
    return Context(ctx.store, ctx.boat.model_copy(update={"reserve": kept}))


def _table(wish: PlanWish, departure_s: float) -> StreamTable | None:
    """The stream as it was given, by times or once for all; None where it was not."""
    if wish.stream_table:
        return read_stream_table(wish.stream_table)
    if wish.stream is None:
        return None
    speed_mps, toward = wish.stream[0], np.radians(wish.stream[1])
    east, north = speed_mps * np.sin(toward), speed_mps * np.cos(toward)
    return StreamTable(np.array([departure_s]), np.array([east]), np.array([north]))


def _stream_words(table: StreamTable | None, here: Here, wish: PlanWish, age_s: float) -> str:
    if table is not None and not wish.stream_table:
        return "as given, all the way"
    if table is not None:
        return f"the table of {len(table.t_s)} times"
    if not here.stream.known:
        return f"not known, so the range is wider: {here.stream.reason}"
    if age_s > TIDE_KEPT_S:
        return (
            f"as strong as seen in the log {_ago(age_s)} before, at an unknown time of its tide: "
            "a table of times would say more"
        )
    return f"as seen in the log, going on as a tide ({here.stream.reason})"

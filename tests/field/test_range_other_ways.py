"""Another speed or another course: miles per watt-hour predicted, on boats nobody tuned to.

The boats, waters and instruments are those of `voyages.py`. After half an hour to an hour of an
outing the boat motors on one course at one speed; asked is what it would go per watt-hour at
other speeds and on other courses in the weather and stream that are, which is all of "how far"
that the battery has no part in. The truth comes from that boat's own drag, propeller and motor.
Reduced count by default; KEELWATT_FULL=1 asks 120 boats.
"""

import os
from dataclasses import dataclass

import numpy as np
import pytest

from analyzer.environment import stream_fit
from analyzer.hull import hull
from analyzer.hull.steady import steady
from analyzer.hull.steady_points import SteadyPoints
from analyzer.range import inputs
from analyzer.range.reach import reach
from analyzer.series.series import Series
from tests.support.voyage_legs import Known, outing_legs, speeds, told_state
from tests.support.voyage_pack import Pack
from tests.support.voyages import STEP_S, Craft, Data, Leg, Place, joined, measured, random_place

pytestmark = [pytest.mark.field, pytest.mark.filterwarnings("ignore::RuntimeWarning")]

FEW = not os.environ.get("KEELWATT_FULL")
BOATS = 5 if FEW else 120
FIRST_T, THEN_T = 2000.0, 40_000.0
LOWEST = 0.25  # charge at which an outing ends early
ASKED = {  # speed over the present one, degrees off the present course
    "slower": (0.80, 0.0),
    "faster": (1.15, 0.0),
    "across": (1.00, 90.0),
    "back": (1.00, 180.0),
    "back, slower": (0.80, 180.0),
}


@dataclass(frozen=True)
class Told:
    """Metres per joule: as it is, and as it was predicted."""

    way: str
    trained: bool
    true: float
    low: float
    mid: float
    high: float

    @property
    def held(self) -> bool:
        return self.low <= self.true <= self.high


def recorded(craft: Craft, place: Place, legs: list[Leg], t: float) -> tuple[Series, np.ndarray]:
    """The legs as the instruments show them, from a full pack, and the speed through water."""
    pack, parts = Pack(craft, 0.97), []
    for part in (legs[:-1], legs[-1:]):
        run = craft.sail(part, place, t)
        current, volts, _ = pack.give(run.motor_w + craft.hotel_w, LOWEST)
        parts.append(measured(craft, run, current, volts, t))
        t += parts[-1].n * STEP_S
    return joined(parts), run.water[: parts[-1].n]


def true_rate(
    craft: Craft, place: Place, t: float, speed: float, course_deg: float
) -> float | None:
    """Metres per joule; None where the stream lets it make no way to speak of."""
    east, north = (float(c[0]) for c in place.stream(np.array([t]), np.zeros((2, 1))))
    angle = np.radians(course_deg)
    along, across = (
        east * np.sin(angle) + north * np.cos(angle),
        east * np.cos(angle) - north * np.sin(angle),
    )
    if abs(across) >= speed:
        return None
    made = np.sqrt(speed**2 - across**2) + along
    turns = craft.turns_for(speed, craft.weather_n(place, course_deg, speed))
    motor_w = float(craft.drive.input_w(np.array([turns]), np.array([speed]))[0])
    return made / (motor_w + craft.hotel_w) if made > 0.3 else None


def asked_of(data: Data, number: int) -> list[Told]:
    """One boat: the questions of a day-one analyzer and of one that knows an earlier trip."""
    craft = Craft(data, np.random.default_rng(90_000 + number))
    place = random_place(craft.rng)
    trip, _ = recorded(craft, place, outing_legs(craft, place, 90), FIRST_T)
    stream = stream_fit.estimate(trip, craft.boat)
    learned = Known(steady(trip, craft.boat, stream), stream.calibration if stream.known else None)
    place = random_place(craft.rng)
    course, speed = craft.rng.uniform(0, 360), craft.rng.uniform(*speeds(craft))
    turns = craft.turns_for(speed, craft.weather_n(place, course, speed))
    legs = outing_legs(craft, place, craft.rng.uniform(20, 60))
    log, water = recorded(craft, place, [*legs, Leg(480.0, course, turns)], THEN_T)
    t = THEN_T + log.n * STEP_S
    speed = float(water[-60:].mean())
    found = []
    for trained, known in ((False, Known()), (True, learned)):
        for way, (factor, turned) in ASKED.items():
            true = true_rate(craft, place, t, factor * speed, course + turned)
            told = predicted(craft, log, known, t, factor * speed, course, turned)
            if true is not None and told is not None:
                found.append(Told(way, trained, true, *told))
    return found


def predicted(
    craft: Craft, log: Series, known: Known, t: float, speed: float, course: float, turned: float
) -> tuple[float, float, float] | None:
    """Metres per joule, low, middle and high; None where it does not motor steadily."""
    stream = stream_fit.estimate(log, craft.boat, before=known.calibration)
    points = SteadyPoints.join([known.points, steady(log, craft.boat, stream)])
    present = inputs.now(log, craft.boat)
    if present is None:
        return None
    told = inputs.RangeInputs(
        craft.boat,
        told_state(craft, 0.6, round(t * 1e6)),
        hull.fit(points, hull.prior(craft.boat)),
        stream,
        present=present,
        hotel_w=inputs.hotel_w(log, craft.boat),
    )
    asked = told.question((course + turned) % 360 if turned else None, np.array([speed]))
    result = reach(asked)
    k = result.nearest(speed)
    low, mid, high = np.quantile(result.ground_mps[:, k] / result.total_w[:, k], (0.1, 0.5, 0.9))
    return float(low), float(mid), float(high)


@pytest.fixture(scope="module")
def told(data):
    """Every answer of every boat, printed way by way."""
    rows = [row for number in range(BOATS) for row in asked_of(data, number)]
    print(f"\n{BOATS} boats; metres per joule: error of the middle, and how often the range held")
    print("way            day one: median |error|  held     one trip: median |error|  held")
    for way in ASKED:
        line = f"{way:<14}"
        for trained in (False, True):
            mine = [a for a in rows if a.way == way and a.trained == trained]
            line += f"   {median_error(mine):18.1%}  {held_frac(mine):9.0%}"
        print(line)
    width = float(np.median([(a.high - a.low) / a.mid for a in rows]))
    print(
        f"asked {len(rows)} times: ranges held {held_frac(rows):.1%} (bar 76-84 %), "
        f"off by {median_error(rows):.1%}, width {width:.0%} of the middle"
    )
    return rows


def median_error(rows: list[Told]) -> float:
    """Of the middle, as a share of what is true."""
    return float(np.median([abs(a.mid / a.true - 1) for a in rows]))


def held_frac(rows: list[Told]) -> float:
    """Share of ranges that held the truth."""
    return float(np.mean([a.held for a in rows]))


def test_the_middle_is_near(told):
    assert median_error(told) < (0.15 if FEW else 0.12)


def test_ranges_hold(told):
    assert 0.6 <= held_frac(told) <= 0.97


@pytest.mark.skipif(FEW, reason="1,200 answers of 120 boats: KEELWATT_FULL=1")
@pytest.mark.xfail(
    strict=True,
    reason="held 86.7 % of 1,200 (floor: 84 % at most): the wind that may blow is thought stronger "
    "than these waters have it",
)
def test_ranges_are_no_wider_than_they_say(told):
    assert 0.76 <= held_frac(told) <= 0.84

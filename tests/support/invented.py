"""A log of invented answers to test the faces with."""

from collections.abc import Sequence

from analyzer.answers import Log
from analyzer.answers.trip_chart import Around
from analyzer.errors import BadRoute, NoTrip
from analyzer.estimation.results import RangeAnswer
from logger import boat
from tests.support.invented_answers import (
    CABLES,
    CELLS,
    CHECK,
    CURVE,
    HINDCAST,
    HOME,
    HULL,
    KN,
    LEAVING,
    NMI,
    PACK,
    PLAN,
    RANGE,
    REVIEW,
    START,
    TRIP,
    UNKNOWN_RANGE,
    course,
    estimate,
    flag,
    plot,
    trip_plot,
)
from tests.support.invented_gain import GAIN
from tests.support.invented_season import SEASON

__all__ = [
    "CELLS",
    "CURVE",
    "HINDCAST",
    "HOME",
    "LEAVING",
    "PLAN",
    "RANGE",
    "REVIEW",
    "TRIP",
    "UNKNOWN_RANGE",
    "InventedLog",
    "course",
    "estimate",
    "flag",
    "plot",
    "trip_plot",
]


class InventedLog(Log):
    """Answers without a log; remembers what it was asked."""

    def __init__(self, answer: RangeAnswer = RANGE) -> None:
        self.answer = answer
        self.asked: list[tuple] = []

    def range_left(self, speed_mps=None, stream=None, home=None, wind=None):
        self.asked.append((speed_mps, stream, home))
        return self.answer

    def trips(self):
        return (TRIP,)

    def review(self, number=None):
        if number not in (None, TRIP.number):
            raise NoTrip(f"the log holds no trip {number}")
        return REVIEW

    def season(self, start_utc_s=None, end_utc_s=None):
        self.asked.append(("season", start_utc_s, end_utc_s))
        return SEASON

    def cells(self):
        return CELLS

    def cables(self):
        return CABLES

    def flags(self):
        return RANGE.flags

    def is_there(self):
        return True

    def boat_name(self):
        return "Invented"

    def flag_seen(self, number):
        self.seen = number

    def plot(self, number, channels: Sequence[str], points=2000):
        self.review(number)
        return plot()

    def window(self, channels: Sequence[str], start_s, end_s, points=2000):
        self.asked.append(("window", start_s, end_s))
        return plot()

    def remember_day(self, channels):
        return False

    def span(self):
        return (START, START + 10800)

    def trip_plot(self, number, channels, points=2000, stretch=None, deep=True):
        self.review(number)
        self.asked.append(("trip_plot", stretch, deep))
        return trip_plot()

    def around(self, number):
        self.review(number)
        rows = tuple((course, estimate(4 * NMI, 3 * NMI, 5 * NMI, "m"))
                     for course in range(0, 360, 30))  # fmt: skip
        return Around(46.03, -24.0, 4.5 * KN, rows)

    def pack(self):
        return PACK

    def cable_courses(self):
        return {"battery_positive": course("rise at 105 A, K", "K", (5, 6, 9))}

    def cell_course(self, cell):
        return course(f"{cell}: resistance above the others', mΩ", "ohm", (2e-4, 5e-4, 9e-4))

    def age_s(self):
        return self.answer.data_age_s

    def check(self, there=()):
        return CHECK

    def refresh(self, progress=None):
        self.asked.append(("refresh",))

    def new_s(self):
        return 0.0

    def now_utc_s(self):
        return self.answer.asked_utc_s

    def place(self):
        return (46.28, -23.87, self.answer.asked_utc_s)

    def home(self):
        return (46.28, -23.87, "the basin")

    def export(self, form, out, trip, channels=(), step_s=None):
        self.review(trip)
        self.asked.append(("export", form, channels, step_s))
        out.write({"csv": b"utc_s,pack_voltage_v\n1717400000.000,52.1\n"}.get(form, b"<gpx/>"))

    def hindcast(self, number=None, each_s=300.0, progress=None):
        self.review(number)
        self.asked.append(("hindcast", each_s))
        return HINDCAST

    boat_toml = (
        '# invented\nname = "Invented boat"\n\n[hull]  # as measured\nwaterline_m = 8.1\n'
        "beam_waterline_m = 2.4\ndraught_m = 1.4\ndisplacement_kg = 4100\n\n"
        '[pack]\nchemistry = "lfp"\ncells_in_series = 8\nrated_capacity_ah = 210\n\n'
        "[motor]\nrated_power_w = 4000\n\n"
        '[[cable]]\nname = "positive"\nsize_mm2 = 50\nlength_m = 1.2\n\n'
        '[[source]]\nname = "gps"\nkind = "nmea0183"\n[source.options]\nport = "/dev/gps"\n'
    )

    def boat_text(self):
        return self.boat_toml, "boat.toml"

    def save_boat(self, text):
        boat.parse(text, "boat.toml")
        self.boat_toml = text

    def channels(self):
        return tuple(plot().series)

    def hull(self):
        return HULL

    def gain(self):
        return GAIN

    def plan(self, wish):
        self.asked.append(wish)
        text = wish.route.read_text("utf-8", errors="replace")
        if "<gpx" not in text:
            raise BadRoute(f"{wish.route} cannot be read as GPX")
        return LEAVING if wish.leave_within_s else PLAN

    def state(self):
        return (id(self.answer), self.boat_toml)

"""The shapes of a season's answer."""

from dataclasses import dataclass
from typing import ClassVar, Literal

from analyzer.answers.health.trends import Past
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.ground import Ground
from analyzer.estimation.results import SCHEMA
from analyzer.estimation.table import Framed

EnergyKind = Literal[
    "sun", "shore", "regeneration", "motor", "hotel", "cables", "left_over", "pack"
]


@dataclass(frozen=True)
class EnergyRow:
    """One place the watt-hours came from or went to.

    Args:
        kind: One word for programs. A source is "sun", "shore" or "regeneration", a use the rest;
            "left_over" is what nothing accounts for, "pack" what the pack gave, net.
        under_way: On trips; positive whichever way it flowed, but for "left_over" and "pack". [Wh]
        alongside: Between them, as far as it was recorded. [Wh]
        trips: On so many trips it could be said.
    """

    kind: EnergyKind
    under_way: Estimate
    alongside: Estimate
    trips: int


@dataclass(frozen=True)
class SpeedRow:
    """What one speed takes under motor, without hotel load and sun.

    Args:
        minutes: Steady motoring near it in the season.
        consumption: A metre through the water. [Wh/m]
    """

    speed_water_mps: float
    minutes: float
    consumption: Estimate


@dataclass(frozen=True)
class MonthRow:
    """One month of a season.

    Args:
        month: "2026-05" in UTC; "undated" where the log has no date.
        distance_m: Over the ground; None where it was not measured.
        consumption: Out of the pack a metre over the ground under motor, as it was. [Wh/m]
        at_usual: At the season's usual speed through the water, without hotel load and sun: what
            months can be compared by. [Wh/m]
    """

    month: str
    start_utc_s: float
    trips: int
    distance_m: float | None
    motor_s: float
    sail_s: float
    motor_wh: float | None
    consumption: Estimate
    at_usual: Estimate


@dataclass(frozen=True)
class FoulingCost:
    """What growth has cost since the last clean bottom, by the trend of the speed losses.

    Args:
        since_utc_s: The first trip with the bottom that clean; None where it is not known.
        cleaned_utc_s: Between which times it was cleaned; None: no cleaning is seen in the log.
        given_back: Speed that the cleaning gave back. [frac]
        speed: Speed lost since, at the same power; negative is slower. [frac]
        power: More power for the same speed, now, at the usual speed. [frac]
        energy: More energy under motor since then, in this season. [Wh]
        rows: Speed against the first trips, trip by trip. [frac]
    """

    since_utc_s: float | None
    cleaned_utc_s: tuple[float, float] | None
    given_back: Estimate
    speed: Estimate
    power: Estimate
    energy: Estimate
    sentence: str
    rows: tuple[Past, ...]


@dataclass(frozen=True)
class PackSeason:
    """The pack over the season, with what the temperature explains taken out.

    Args:
        capacity, resistance: As it would be at 25 °C, each time something was learned. [Ah]; and
            over that of a new pack of its kind. [frac]
        capacity_year, resistance_year: Relative change a year. [frac]
    """

    capacity: tuple[Past, ...]
    resistance: tuple[Past, ...]
    capacity_year: Estimate
    resistance_year: Estimate
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class DayReason:
    """Why a day took more or less than the season's others.

    Args:
        kind: "speed", "stream", "growth", "flag" or "unexplained".
        share: Of the day's consumption, over what the season's would be; None for a flag. [frac]
        found_by: Which finding says so.
    """

    kind: str
    text: str
    share: Estimate | None
    found_by: str


@dataclass(frozen=True)
class DayRow:
    """A day under motor beside the season's others.

    Args:
        trips: Its trips' numbers.
        consumption_wh_per_m: Over the ground under motor. [Wh/m]
        against_season: Of that, over the season's; 0.2: a fifth more. [frac]
        reasons: The largest first.
    """

    trips: tuple[int, ...]
    start_utc_s: float
    motor_m: float
    consumption_wh_per_m: float
    against_season: float
    reasons: tuple[DayReason, ...]


@dataclass(frozen=True)
class RangeHeld:
    """How the range answers of the season's trips held against what then happened.

    Args:
        trips: The season's. looked_at: Of them, held against the log so far.
        compared, held_frac, error_frac: Distances foreseen; shares of ranges that held (0.8 is
            right); median error of the middle.
        charge_compared, charge_held_frac, charge_error_frac: The same of charges, against the next
            full charge.
    """

    trips: int
    looked_at: int
    compared: int
    held_frac: float | None
    error_frac: float | None
    charge_compared: int
    charge_held_frac: float | None
    charge_error_frac: float | None
    sentence: str


@dataclass(frozen=True)
class SeasonAnswer(Framed):
    """A season of a log.

    Args:
        start_utc_s, end_utc_s: Beginning of its first trip, end of its last.
        distance: Over the ground, all trips. [m]
        motor_s, sail_s: Time of the legs under motor, and under way without it.
        energy: By source, then by use.
        usual_mps: The usual speed under motor; None with too little steady motoring.
        best, worst: Days with the least and the most out of the pack a mile under motor.
        grounds: As at the end of the newest trip. remarks: What was missing, and how often.
    """

    ROWS: ClassVar[str] = "months"

    boat: str
    start_utc_s: float
    end_utc_s: float
    trips: int
    distance: Estimate
    motor_s: float
    sail_s: float
    energy: tuple[EnergyRow, ...]
    usual_mps: float | None
    usual_reason: str
    speeds: tuple[SpeedRow, ...]
    months: tuple[MonthRow, ...]
    fouling: FoulingCost
    pack: PackSeason
    best: tuple[DayRow, ...]
    worst: tuple[DayRow, ...]
    days_reason: str
    range_held: RangeHeld
    remarks: tuple[str, ...]
    grounds: tuple[Ground, ...] = ()
    schema: int = SCHEMA

"""The shapes of the answers, for `answers.py` and the faces.

All fields are in the units used inside; the names say which. Faces turn them into knots,
nautical miles and sentences. `to_json` gives exactly what `--json` and the HTTP API print.
"""

import dataclasses
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Literal

from analyzer.errors import installed
from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.ground import Ground
from analyzer.estimation.table import Framed

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = 1  # version of what `to_json` gives, by definition; see `analyzer.answers.schema`


@dataclass(frozen=True)
class FlagView(Framed):
    """A flag as people see it."""

    number: int
    level: str  # "notice", "warning", "act now"
    subject: str  # what it is about: "cell 7", "lug of battery positive", "pack"
    kind: str  # what is wrong, one word for programs: "cell_resistance", "lug_heating", ...
    title: str  # one short sentence
    evidence: str  # what was measured, with figures
    cause: str  # most likely
    caution: str  # the usual one
    first_action: str
    raised_utc_s: float
    seen_utc_s: float | None
    cleared_utc_s: float | None
    channels: tuple[str, ...]  # the plot that shows it
    age_s: float | None = None  # since it was raised; None where the log has no date
    now: str = ""  # what was last found of it, where the figures are others than at first
    now_utc_s: float | None = None  # when that was
    schema: int = SCHEMA


@dataclass(frozen=True)
class RangePoint:
    """One speed of the curve of range against speed."""

    speed_water_mps: float
    speed_ground_mps: float
    power: Estimate  # W, from the pack, motor and hotel less solar
    distance: Estimate  # m over ground
    duration: Estimate  # s
    limit: str = ""  # what most often ends it


Way = Literal["straight", "track"]  # the geodesic, or back the way the boat came


@dataclass(frozen=True)
class HomeWish:
    """The way home as somebody wants it judged. stream: a file is a table of times."""

    way: Way = "straight"
    stream: Literal["same", "reversed"] | Path | None = None  # None: going on as it may


WayHome = Way | HomeWish


@dataclass(frozen=True)
class HomeAnswer:
    """Whether and when to turn."""

    name: str
    distance_m: float
    sureness_frac: float  # wanted
    can_return_frac: float  # probability of being home above the reserve if turned now
    turn_in: Estimate  # m outwards before turning; act on its low, which holds as surely as wanted
    charge_on_arrival: Estimate  # frac, if turned now
    way: Way = "straight"
    stream: str = "going on as it may"  # on the way home
    speed_water_mps: float | None = None  # on the way home, as all of this presumes
    homeward: bool = False  # on the way home already
    # The same at the speed that the answer is about, held on the way home.
    present_speed_water_mps: float | None = None
    present_can_return_frac: float | None = None
    present_charge_on_arrival: Estimate | None = None
    present_turn_in: Estimate | None = None  # m
    # Time home, and what the stream adds to the speed made good on the mean of the way; probability
    # of being home before sunset, null by night or without a date.
    takes: Estimate | None = None  # s
    stream_gain: Estimate | None = None  # m/s
    before_dark_frac: float | None = None
    present_takes: Estimate | None = None  # s
    present_before_dark_frac: float | None = None
    grounds: tuple[Ground, ...] = ()  # how what it rests on stands


# The speed answered for: the present one, held; the one that the present power gives, while speed
# and course are not steady or not measured; the one asked for; the one that goes furthest.
BEYOND = "three days"  # what ends a run that is followed no farther; by definition
About = Literal["present", "power", "asked", "furthest"]


@dataclass(frozen=True)
class RangeAnswer(Framed):
    """How far, for how long, what ends it, what would go further."""

    ROWS: ClassVar[str] = "curve"

    boat: str
    asked_utc_s: float  # the moment the answer speaks of: the newest data
    data_age_s: float | None  # None: the log has no date and is of another boot
    motoring: bool  # steadily, for some minutes
    speed_water_mps: float | None  # the speed answered for
    speed_ground_mps: float | None
    power_w: float | None  # from the pack now
    charge: Estimate  # frac
    distance: Estimate  # m over ground
    duration: Estimate  # s
    limit: str  # what ends it, most often
    limit_shares: dict[str, float]
    curve: tuple[RangePoint, ...]
    best_speed_mps: float | None
    stream_mps: Estimate
    stream_toward_deg: Estimate
    next_action: str
    home: HomeAnswer | None
    reserve_frac: float
    flags: tuple[FlagView, ...]
    cautions: tuple[str, ...]
    home_reason: str = ""  # why nothing is said of the way home though it was asked for
    doing: str = "not motoring steadily"  # what the motor does, in words
    grounds: tuple[Ground, ...] = ()  # how every input stands
    condition: str = ""  # what of them is broken: the first clause; empty where nothing is
    about: About = "present"  # what the speed answered for is
    flags_over: tuple[FlagView, ...] = ()  # over, and not yet seen
    sails_frac: float | None = None  # probability that sails help the motor; null: not motoring
    without_sails: Estimate | None = None  # m, at this speed; where sails are likely
    schema: int = SCHEMA


@dataclass(frozen=True)
class LegRow:
    """One stretch of a trip doing one thing."""

    kind: str  # "motoring", "sailing", "charging", "lying"
    start_utc_s: float
    end_utc_s: float
    distance_m: float | None
    energy_wh: float | None  # None where the pack's power was not read
    mean_speed_mps: float | None

    @property
    def doing(self) -> str:
        """What it is called: without a power nobody tells sails from the motor."""
        return "under way" if self.kind == "sailing" and self.energy_wh is None else self.kind


@dataclass(frozen=True)
class BootRow:
    """One run of the computer that recorded, or one recording.

    Attributes:
        first_utc_s, last_utc_s: Its readings on the log's timeline; None without readings. [s]
        dated_by: "gnss", "ntp", "file", or None where it has no date.
        believed: Whether the timeline uses that date; it does not where other boots outvote it.
        remark: What had to be said about it; "" if nothing.
    """

    number: int
    first_utc_s: float | None
    last_utc_s: float | None
    dated_by: str | None
    uncertainty_s: float | None
    believed: bool
    recorded: bool
    remark: str
    schema: int = SCHEMA


@dataclass(frozen=True)
class TripRow(Framed):
    """One trip in the list."""

    number: int
    start_utc_s: float
    end_utc_s: float
    distance_m: float | None
    energy_out_wh: float | None  # None where the pack's power was not read, or is not believed
    energy_in_wh: float | None
    motoring_wh_per_m: float | None
    charge_start: Estimate
    charge_end: Estimate
    legs: tuple[LegRow, ...]

    @property
    def under_motor_s(self) -> float:
        """Time of the legs under motor. [s]"""
        return sum(g.end_utc_s - g.start_utc_s for g in self.legs if g.kind == "motoring")

    grounds: tuple[Ground, ...] = ()  # at the end of the trip
    unrecorded_s: float = 0.0  # within it, with no reading at all
    unread_s: float = 0.0  # besides, without the pack's power: nothing is counted for either
    energy_reason: str = ""  # why the energy cannot be said
    schema: int = SCHEMA


@dataclass(frozen=True)
class LedgerRow:
    """One place the watt-hours came from or went to; positive is out of the pack."""

    text: str
    energy: Estimate  # Wh


@dataclass(frozen=True)
class SagTerm:
    """One part of the volts between rest and loaded."""

    text: str
    volts: Estimate


@dataclass(frozen=True)
class SagAccount:
    """Where the volts went: at the worst moment or over a leg."""

    text: str  # which moment or leg
    utc_s: float
    current_a: float
    rest_v: float
    loaded_v: float
    terms: tuple[SagTerm, ...]  # the last is "unexplained"
    sentence: str


@dataclass(frozen=True)
class ReviewAnswer(Framed):
    """One trip, explained."""

    ROWS: ClassVar[str] = "ledger"

    trip: TripRow
    ledger: tuple[LedgerRow, ...]
    sag: tuple[SagAccount, ...]  # worst moment first, then motoring legs
    flags: tuple[FlagView, ...]
    remarks: tuple[str, ...]  # what changed since earlier trips, what is missing
    grounds: tuple[Ground, ...] = ()  # at the trip's end
    schema: int = SCHEMA


@dataclass(frozen=True)
class CellRow:
    """One cell or block."""

    name: str
    offset: Estimate  # V from the others' median at rest
    resistance: Estimate  # ohm
    lowest_v: float
    highest_v: float


@dataclass(frozen=True)
class CellsAnswer(Framed):
    """Health of the cells. not_measured: why nothing can be said of them; "" where it can."""

    ROWS: ClassVar[str] = "rows"

    rows: tuple[CellRow, ...]
    spread: Estimate  # V, highest less lowest, typical under load
    findings: tuple[Detection, ...]
    remarks: tuple[str, ...]
    not_measured: str = ""
    grounds: tuple[Ground, ...] = ()
    asked_utc_s: float | None = None  # the newest reading, which it speaks of
    data_age_s: float | None = None
    schema: int = SCHEMA


@dataclass(frozen=True)
class CableRow:
    """One cable run."""

    name: str
    ampacity: Estimate  # A, by the published table, derated
    highest_current_a: float | None
    expected_rise: Estimate  # K at the present or highest sustained current
    found_rise: Estimate  # K at the same current
    excess_resistance: Estimate  # ohm, of the joint
    settles_at: Estimate  # °C, at the present current
    crosses_limit_in: Estimate  # s
    limit_c: float | None


@dataclass(frozen=True)
class CablesAnswer(Framed):
    """Health of the cables. not_measured: why nothing can be said of them; "" where it can."""

    ROWS: ClassVar[str] = "rows"

    rows: tuple[CableRow, ...]
    findings: tuple[Detection, ...]
    remarks: tuple[str, ...]
    not_measured: str = ""
    grounds: tuple[Ground, ...] = ()
    asked_utc_s: float | None = None  # the newest reading, which it speaks of
    data_age_s: float | None = None
    schema: int = SCHEMA


@dataclass(frozen=True)
class ChannelRow:
    """A channel that arrives."""

    name: str
    text: str
    unit: str
    rate_hz: float | None
    age_s: float | None
    value: float | None


@dataclass(frozen=True)
class QuestionRow:
    """A question, and whether what arrives can answer it."""

    question: str
    answerable: bool
    why: str


@dataclass(frozen=True)
class SourceRow:
    """One [[source]] of the boat file. ok: whether it can be recorded; None: it was not tried."""

    name: str
    ok: bool | None
    text: str


@dataclass(frozen=True)
class CheckAnswer(Framed):
    """What is there, what is wrong, what can be answered."""

    ROWS: ClassVar[str] = "channels"

    boat: str
    devices: tuple[str, ...]  # ports and buses found
    channels: tuple[ChannelRow, ...]
    missing_channels: tuple[str, ...]
    findings: tuple[Detection, ...]  # wiring sense and first-day sanity
    questions: tuple[QuestionRow, ...]
    grounds: tuple[Ground, ...] = ()
    sources: tuple[SourceRow, ...] = ()  # what the boat file says of each way in
    asked_utc_s: float | None = None  # the newest reading, which it speaks of
    data_age_s: float | None = None
    schema: int = SCHEMA


@dataclass(frozen=True)
class Plot:
    """Thinned series of one trip for drawing, on one clock.

    t_utc_s: times. series: channel -> values, None where missing.
    """

    t_utc_s: list[float] = field(default_factory=list)
    series: dict[str, list[float | None]] = field(default_factory=dict)
    schema: int = SCHEMA

    def to_frame(self) -> "pd.DataFrame":
        """A column a channel, by UTC."""
        pandas = installed("pandas", "a data frame", "frames")
        times = pandas.to_datetime(self.t_utc_s, unit="s", utc=True)
        frame: pd.DataFrame = pandas.DataFrame(self.series, index=times, dtype=float)
        return frame


def to_json(answer: Any) -> Any:
    """Plain dicts, lists, numbers and strings; NaN and infinities become null."""
    if dataclasses.is_dataclass(answer) and not isinstance(answer, type):
        shown = (f.name for f in dataclasses.fields(answer) if f.metadata.get("json", True))
        return {name: to_json(getattr(answer, name)) for name in shown}
    if isinstance(answer, dict):
        return {str(k): to_json(v) for k, v in answer.items()}
    if isinstance(answer, list | tuple):
        return [to_json(v) for v in answer]
    if isinstance(answer, float) and not math.isfinite(answer):
        return None
    return answer

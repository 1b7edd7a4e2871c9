"""What a what-if answers: the boat as it is, the boat changed, and what lies between."""

from dataclasses import dataclass

from analyzer.answers.ahead.passage import PlanAnswer
from analyzer.answers.gain.keys import ChangedKey
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import SCHEMA, HomeAnswer, RangeAnswer, TripRow
from analyzer.range.plan import Plan

NOT_MEASURED = (
    "The change is worked out, not measured: what stands under the boat as it is comes from the "
    "log, and only the difference is added to it.",
)


@dataclass(frozen=True)
class RangeWhatIf:
    """How far with some numbers of the boat file changed.

    Args:
        changes: Which numbers.
        as_is: The boat as it is.
        distance, duration, power: Of the changed boat at the same speed. [m], [s], [W]
        distance_more, duration_more, power_more: Changed less as it is, draw by draw: the
            difference is known better than either.
        limit: What ends it most often, changed.
        home: The way home, changed, where it was asked for.
        rests_on: What each change rests on, and what it holds fixed.
    """

    changes: tuple[ChangedKey, ...]
    as_is: RangeAnswer
    distance: Estimate
    duration: Estimate
    power: Estimate
    distance_more: Estimate
    duration_more: Estimate
    power_more: Estimate
    limit: str
    home: HomeAnswer | None
    rests_on: tuple[str, ...]
    cautions: tuple[str, ...] = NOT_MEASURED
    schema: int = SCHEMA


@dataclass(frozen=True)
class PlanWhatIf:
    """A passage with some numbers of the boat file changed, at the same speeds.

    Args:
        changes: Which numbers.
        as_is: The boat as it is.
        plan: Of the changed boat.
        energy_more, charge_more, arrival_later: On arrival, changed less as it is, draw by draw.
            [Wh], [frac], [s]
        arrives_more: Probability of arriving above the reserve, changed less as it is. [frac]
        rests_on: What each change rests on, and what it holds fixed.
    """

    changes: tuple[ChangedKey, ...]
    as_is: PlanAnswer
    plan: Plan
    energy_more: Estimate
    charge_more: Estimate
    arrival_later: Estimate
    arrives_more: Estimate
    rests_on: tuple[str, ...]
    cautions: tuple[str, ...] = NOT_MEASURED
    schema: int = SCHEMA


@dataclass(frozen=True)
class GainRow:
    """One thing that can be done, and what it buys.

    Args:
        measure: One word for programs: "second_pack".
        text: What is done.
        distance: Further at the usual speed from a full pack, unless `rests_on` says else. [m]
        idle: Longer on the load beside the motor alone. [s]
        energy_year: Saved or won in a year that is as the log's days. [Wh]
        rests_on: What it rests on, and what it holds fixed.
        would_help: The reading that would make the range smaller; empty where none would.
    """

    measure: str
    text: str
    distance: Estimate
    idle: Estimate
    energy_year: Estimate
    rests_on: str
    would_help: str = ""


@dataclass(frozen=True)
class UnsaidGain:
    """What cannot be judged from the log, or has nothing to gain.

    Args:
        reading: What would tell; empty where nothing is missing.
    """

    measure: str
    text: str
    reason: str
    reading: str = ""


@dataclass(frozen=True)
class GainAnswer:
    """What would help most, from this boat's own log.

    Args:
        speed_water_mps: The usual speed under motor. speed_from: What makes it usual.
        distance: From a full pack at that speed, as the boat is, in no stream. [m]
        idle: How long a full pack feeds the load beside the motor. [s]
        rows: What can be said, the largest gain first.
        unsaid: What cannot be said, or has nothing to gain.
    """

    boat: str
    speed_water_mps: float
    speed_from: str
    distance: Estimate
    idle: Estimate
    rows: tuple[GainRow, ...]
    unsaid: tuple[UnsaidGain, ...]
    cautions: tuple[str, ...]
    asked_utc_s: float | None = None  # the newest reading, which it speaks of
    data_age_s: float | None = None
    schema: int = SCHEMA


@dataclass(frozen=True)
class TripWhatIf:
    """One trip as it would have been with some numbers of the boat file changed.

    Args:
        changes: Which numbers.
        trip: The trip as it was.
        charge_end: Charge at its end, changed: what was measured, and `charge_more` added. [frac]
        charge_more: Changed less as it was, draw by draw. [frac]
        charge_lowest: The lowest charge on the way, changed. [frac]
        above_reserve_frac: Probability that the charge would have stayed above the reserve.
        energy_more: Out of the pack over the trip, changed less as it was. [Wh]
        rests_on: What each change rests on, and what it holds fixed.
    """

    changes: tuple[ChangedKey, ...]
    trip: TripRow
    charge_end: Estimate
    charge_more: Estimate
    charge_lowest: Estimate
    above_reserve_frac: float | None
    energy_more: Estimate
    rests_on: tuple[str, ...]
    cautions: tuple[str, ...] = NOT_MEASURED
    schema: int = SCHEMA

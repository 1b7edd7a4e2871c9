"""What a what-if answers: the boat as it is, the boat changed, and what lies between."""

from dataclasses import dataclass

from analyzer.answers.gain.keys import ChangedKey
from analyzer.answers.passage import PlanAnswer
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import SCHEMA, HomeAnswer, RangeAnswer
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

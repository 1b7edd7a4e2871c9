"""As of when an answer speaks: the newest reading, and how old that is."""

from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from analyzer.answers.ahead.passage import PlanAnswer
    from analyzer.answers.gain.rows import GainAnswer
    from analyzer.answers.hull import HullAnswer
    from analyzer.estimation.results import CablesAnswer, CellsAnswer, CheckAnswer
    from logger.store import Store

Dated = TypeVar(
    "Dated", "CablesAnswer", "CellsAnswer", "CheckAnswer", "GainAnswer", "HullAnswer", "PlanAnswer"
)


def as_of(store: "Store", answer: Dated) -> Dated:
    """The answer with its moment; as it is where nothing was recorded."""
    span = store.span()
    if span is None:
        return answer
    return replace(answer, asked_utc_s=(span[1] + 1) / 1e6, data_age_s=store.age_s())

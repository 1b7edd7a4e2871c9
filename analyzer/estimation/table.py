"""Rows of an answer as a pandas data frame."""

from collections.abc import Iterable
from dataclasses import fields
from typing import TYPE_CHECKING, Any, ClassVar

from analyzer.errors import installed
from analyzer.estimation.estimate import Estimate

if TYPE_CHECKING:
    import pandas as pd


def table(answers: Iterable[Any]) -> "pd.DataFrame":
    """Rows of an answer (`trips`, `flags`, `hull().curve`, ...) as a data frame.

    Args:
        answers: Of one kind.
    Returns:
        A row each, a column a field; times in seconds since 1970. An estimate `charge` becomes
        `charge`, `charge_low` and `charge_high`, missing where it cannot be said.
    """
    pandas = installed("pandas", "a data frame", "frames")
    rows: pd.DataFrame = pandas.DataFrame([_flat(answer) for answer in answers])
    return rows


class Framed:
    """An answer that becomes a data frame: its rows, where it has some, else itself as one row."""

    ROWS: ClassVar[str] = ""

    def to_frame(self) -> "pd.DataFrame":
        """See `table`."""
        return table(getattr(self, self.ROWS) if self.ROWS else (self,))


def _flat(answer: Any) -> dict[str, Any]:
    row: dict[str, Any] = {}
    for part in (f for f in fields(answer) if f.metadata.get("json", True)):
        value = getattr(answer, part.name)
        if isinstance(value, Estimate):
            row[part.name] = value.mid
            row[f"{part.name}_low"], row[f"{part.name}_high"] = value.low, value.high
        else:
            row[part.name] = value
    return row

"""How good what-ifs are: invented boats run on with and without each change.

    python -m tests.field.score_what_if --boats 60

prints, change by change, how many of the 80 % ranges of the difference held the truth and how many
had the right sign; some 25 s of processor time a boat. A sign counts where the range tells one.
"""

import argparse
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from analyzer.answers import open_log
from tests.support.changed_boats import changes_of, moment, true_gain, write_until


@dataclass(frozen=True)
class Row:
    """One change of one boat. low, mid, high, true: distance more, as told and as it was. [m]"""

    boat: int
    change: str
    low: float
    mid: float
    high: float
    true: float

    @property
    def holds(self) -> bool:
        """Whether the range holds the truth."""
        return self.low <= self.true <= self.high

    @property
    def signed(self) -> bool:
        """Whether the range tells a sign."""
        return self.low * self.high > 0

    @property
    def right(self) -> bool:
        """Whether the sign told is the true one."""
        return self.mid * self.true > 0

    def line(self) -> str:
        """What was told and what was true."""
        told = f"{self.low:9.0f}{self.mid:9.0f}{self.high:9.0f}{self.true:9.0f}"
        return f"{self.boat} {self.change:<26}{told}{'' if self.holds else '  outside'}"


def boat_rows(number: int) -> Iterator[Row]:
    """Every change of one boat."""
    found = moment(number)
    if found is None:
        return
    day, at = found
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite"
        write_until(path, day, at)
        with open_log(path, write=True) as log:
            log.refresh()
            for name, change in changes_of(day).items():
                more = log.range_what_if((change.asks,)).distance_more
                low, mid, high = more.low or 0.0, more.mid or 0.0, more.high or 0.0
                yield Row(number, name, low, mid, high, true_gain(day, at, change)[0])


def summary(rows: list[Row]) -> str:
    """Counts, change by change and in all."""
    lines = []
    for name in (*dict.fromkeys(row.change for row in rows), ""):
        some = [row for row in rows if name in ("", row.change)]
        told = [row for row in some if row.signed]
        held, right = sum(row.holds for row in some), sum(row.right for row in told)
        lines.append(
            f"{name or 'all':<26} held {held:3d} of {len(some):3d}   sign right {right:3d} of "
            f"{len(told):3d} told"
        )
    return "\n".join(lines)


def run(about: str | None, boats: Callable[[int], Iterator[Row]], first: int) -> None:
    """A score's command line: prints every row and the counts.

    Args:
        about: The program's own docstring. boats: The rows of a boat by number.
        first: Number of the first boat, unless told.
    """
    parser = argparse.ArgumentParser(description=(about or "").partition("\n")[0])
    parser.add_argument("--boats", type=int, default=60)
    parser.add_argument("--seed", type=int, default=first, help="number of the first boat")
    asked = parser.parse_args()
    rows: list[Row] = []
    for number in range(asked.seed, asked.seed + asked.boats):
        for row in boats(number):
            rows.append(row)
            print(row.line(), flush=True)
    print(summary(rows))


if __name__ == "__main__":
    run(__doc__, boat_rows, 7000)

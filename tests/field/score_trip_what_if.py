"""How good the trip that was is: invented outings with and without a change, on the same way.

    python -m tests.field.score_trip_what_if --boats 60

prints how many 80 % ranges of the charge that would have been left more held the truth, and how
many had the right sign; some 20 s of processor time a boat. Panels where there were none are left
out: the invented days' sun is not that of their place and time.
"""

import tempfile
from collections.abc import Iterator
from pathlib import Path

from analyzer.answers import open_log
from tests.field.score_what_if import Row, run
from tests.support.changed_trips import trip_pair, write_trip

NAMES = ("half as large again", "seventeen twentieths", "hotel load 20 W", "200 W more panel")


def boat_rows(number: int) -> Iterator[Row]:
    """Every change of one boat's outing. [per mille of the charge]"""
    pair = trip_pair(number)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.sqlite"
        write_trip(path, pair)
        with open_log(path, write=True) as log:
            log.refresh()
            for name, (asks, true) in zip(NAMES, pair.more.items(), strict=True):
                if name == NAMES[3] and not pair.day.outing.boat.solar_peak_w:
                    continue
                more = log.review_what_if((asks,)).charge_more
                low, mid, high = (1e3 * (v or 0.0) for v in (more.low, more.mid, more.high))
                yield Row(number, name, low, mid, high, 1e3 * true)


if __name__ == "__main__":
    run(__doc__, boat_rows, 8000)

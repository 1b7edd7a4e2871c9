"""A weak cell over two trips of one log: told by every answer alike, and not forgotten.

The string is one of `tests.support.cell_strings`; the boat and its way are invented.
"""

import numpy as np
import pytest

from analyzer.answers import flags, range_left, refresh, review
from analyzer.answers.health.now import cells
from analyzer.learned import cell_history
from analyzer.series.log import OpenLog
from logger.boat import Boat
from logger.reading import Block, Group
from logger.store import Quantum, Store
from tests.support.cell_strings import cell_string, days
from tests.support.hull_boat import boat

S = 1_000_000
START_US = 1_700_000_000 * S
NUMBER = 2  # a string with a cell of less capacity


def string_boat(string) -> Boat:
    plain = boat()
    return plain.model_copy(update={"pack": string.pack})


def block(day) -> Block:
    """The pack, its cells and the way made good, all in one group."""
    amps = day.values["pack_current_a"]
    under_way = amps > 0.05 * amps.max()
    volts = {n: v for n, v in day.values.items() if n.startswith("cell_")}
    columns = {
        **day.values,
        "pack_voltage_v": np.sum(list(volts.values()), axis=0),
        "speed_ground_mps": np.where(under_way, 2.5, 0.0),
    }
    group = Group("all", tuple(columns), tuple(Quantum(0.001) for _ in columns))
    t_us = START_US + day.t0_us + np.arange(day.n, dtype=np.int64) * round(day.step_s * S)
    return Block(group, t_us, np.column_stack(list(columns.values())))


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    string = cell_string(NUMBER)
    assert string.fault == "cell_capacity"
    path = tmp_path_factory.mktemp("cells") / "log.sqlite"
    with Store.open(path, write=True) as store:
        with store.writer("boot") as writer:
            for day in days(string, 2):
                writer.add(block(day))
        opened = OpenLog(store, string_boat(string))
        refresh.refresh(opened)
        yield string, opened


def test_the_first_trip_is_remembered(log):
    string, opened = log
    trips = opened.store.trips()
    assert len(trips) >= 2
    kept = opened.store.learned(cell_history.KEY)
    assert [one.to_us for one in kept] == [trip.end_us for trip in trips[:-1]]
    monitor = cell_history.followed(opened, trips[-1].start_us + 60 * S)
    assert (f"cell {string.cell}", string.fault) in [
        (d.subject, d.kind) for d in monitor.detections()
    ]


def test_every_answer_tells_the_same_fault_with_the_same_figure(log):
    """The flag was raised for a cell close to its cut-off, and is now of a cell that is behind."""
    string, opened = log
    name = f"cell {string.cell}"
    (found,) = [f for f in cells(opened).findings if f.subject == name]
    assert found.kind == string.fault
    # the cell was made with that much less
    assert found.size.mid == pytest.approx(string.size, rel=0.4)
    (flag,) = [f for f in flags.flags(opened) if f.subject == name and f.cleared_utc_s is None]
    said = {flag.now or flag.evidence, found.text}
    for answer in (range_left.range_left(opened).flags, review.review(opened, 1).flags):
        told = [f for f in answer if f.subject == name]
        assert told
        said |= {f.now or f.evidence for f in told}
    assert len(said) == 1

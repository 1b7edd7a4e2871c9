"""The first clause of an answer: what of its grounds is broken, bridged, or read too seldom."""

import numpy as np
import pytest

from analyzer.answers import refresh
from analyzer.answers.grounded import RANGE_INPUTS, VELOCITY, believed, condition, sparse
from analyzer.answers.range_left import range_left
from analyzer.answers.review import review
from analyzer.estimation.ground import SPARSE_S, Ground
from analyzer.grounds.late import LATE
from analyzer.grounds.plausible import BY_FINDING, LOOK_S
from analyzer.series.log import OpenLog
from analyzer.series.series import Series
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store
from tests.support.hull_boat import boat

NOW_S = 10_000.0


def row(name, standing="measured now", by="", until_s=NOW_S, interval_s=1.0):
    return Ground(name, standing, by, "channel", until_s, interval_s)


CLAUSES = {
    "all is well": ([row("pack current"), row("charge")], ""),
    "silent": (
        [row("pack current", "measured until", until_s=NOW_S - 720)],
        "with the pack current last read 12 min ago",
    ),
    "silent for seconds": (
        [row("speed over ground", "measured until", until_s=NOW_S - 89)],
        "with the speed over ground last read 89 s ago",
    ),
    "silent for hours": (
        [row("pack current", "measured until", until_s=NOW_S - 7200)],
        "with the pack current last read 2 h ago",
    ),
    "contradicted": (
        [row("pack voltage", "contradicted by", "the sum of the cells")],
        "with the pack voltage contradicted by the sum of the cells",
    ),
    "contradicted by one thing, said once": (
        [row("speed over ground", "contradicted by", "the heading"),
         row("course over ground", "contradicted by", "the heading")],
        "with the speed over ground contradicted by the heading",
    ),
    "bridged": (
        [row("charge", "bridged by", "the controller's current")],
        "with the charge bridged by the controller's current",
    ),
    "contradicted before silent": (
        [row("pack current", "measured until", until_s=NOW_S - 720),
         row("position", "contradicted by", "itself")],
        "with the position contradicted by itself and the pack current last read 12 min ago",
    ),
    "read once a minute": (
        [row("pack current", interval_s=60.0), row("pack voltage", interval_s=60.0)],
        "with the pack current read only every 60 s",
    ),
    "read as often as needs be": ([row("pack current", interval_s=SPARSE_S)], ""),
    "an input that nothing is counted from": ([row("pack temperature", interval_s=60.0)], ""),
}  # fmt: skip


@pytest.mark.parametrize("name", CLAUSES)
def test_the_first_clause(name):
    rows, clause = CLAUSES[name]
    assert condition(rows, RANGE_INPUTS, NOW_S) == clause


SAILED = Series(0, 1.0, 3600, {
    name: np.arange(3600.0)
    for name in ("speed_ground_mps", "course_ground_deg", "latitude_deg", "pack_current_a")
})  # fmt: skip


@pytest.mark.parametrize(
    ("by", "left"),
    [
        (BY_FINDING["speed_unit"][1], 0),
        (f"the heading, {LATE} 120 s late", 0),
        ("the positions: 1.1 kn against 5.7 kn by the last fixes", 3600 - round(LOOK_S)),
    ],
)
def test_a_contradicted_velocity_is_left_out_for_as_long_as_it_is_known_to_be_wrong(by, left):
    """A unit or a delay is one for the whole log; what the last minutes show, for those looked
    at. Nothing else is left out, and what nothing contradicts stays whole."""
    out = believed(SAILED, [row("speed over ground", "contradicted by", by)])
    for name in VELOCITY:
        known = np.isfinite(out.get(name))
        assert known.sum() == left
        assert known[:left].all()
    assert np.isfinite(out.get("latitude_deg")).all()
    assert believed(SAILED, [row("speed over ground")]) is SAILED
    assert believed(SAILED, [row("position", "contradicted by", by)]) is SAILED


def test_what_is_silent_is_not_called_sparse():
    rows = [row("pack current", "measured until", interval_s=60.0)]
    assert sparse(rows, RANGE_INPUTS) == []


def test_readings_a_minute_apart_are_named_by_range_and_review(tmp_path):
    """Half an hour at 2 m/s and 40 A, one reading a minute."""
    names = ("pack_voltage_v", "pack_current_a", "speed_ground_mps", "course_ground_deg")
    t_us = np.arange(60, dtype=np.int64) * 60_000_000
    values = np.tile([52.0, 40.0, 2.0, 90.0], (60, 1))
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, 1_790_000_000_000_000, "gnss", 0.1))
        writer.add(Block(Group("t", names, (EXACT,) * 4), t_us, values))
        writer.close()
        log = OpenLog(store, boat())
        refresh.refresh(log)
        assert "read only every 60 s" in range_left(log).condition
        assert any("read only every 60 s" in remark for remark in review(log).remarks)


def test_without_a_charge_nothing_is_said_to_end_the_run(tmp_path):
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        t_us = np.arange(60, dtype=np.int64) * 1_000_000
        writer.add(Block(Group("t", ("ambient_temp_c",), (EXACT,)), t_us, np.full((60, 1), 15.0)))
        writer.close()
        answer = range_left(OpenLog(store, boat()))
    assert not answer.distance.known
    assert (answer.limit, answer.limit_shares) == ("", {})

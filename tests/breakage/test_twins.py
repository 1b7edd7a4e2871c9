"""A break that breaks nothing changes nothing, and twins that moved are found."""

import json

import pytest

from tests.breakage import cases, twins
from tests.breakage.__main__ import main
from tests.breakage.breaks import APPLY, Break

NEVER_S = 1e9
# Every kind of breakage in a size that is none: times one, plus nothing, or after the end.
IDENTITIES = (
    Break("scaled", "pack_current_a", 0.0, 1.0),
    Break("unit", "speed_ground_mps", 0.0, 1.0),
    Break("offset", "pack_voltage_v", 0.0, 0.0),
    Break("noisy", "speed_ground_mps", 0.0, 0.0, seed=1),
    Break("delayed", "gps", 0.0, 0.0),
    Break("sparse", "", 0.0, 1.0),
    Break("gps jumps", "gps", 0.0, 0.0, "for good"),
    Break("dated wrong", "", 0.0, 0.0),
    Break("boat file", "pack.rated_capacity_ah", 0.0, 1.0),
    Break("throttle", "", 0.0, 1.0),
    Break("swapped", "pack_current_a", 0.0, other="pack_current_a"),
    Break("cells swapped", "pack_voltage_v", 0.0, other="pack_voltage_v"),
    *(Break(kind, "pack sensor", NEVER_S) for kind in ("dead", "frozen", "reversed", "fahrenheit")),
)


def test_a_break_that_breaks_nothing_answers_exactly_the_same():
    """Of a recorder that restarts there is no such size: it begins a new boot."""
    assert {one.kind for one in IDENTITIES} == set(APPLY) - {"restarted"}
    case = cases.Case(3, "plain", 2460, IDENTITIES)
    broken, truth = cases.run(case)
    sound, same = cases.run(twins.twin(case))
    assert broken.answers == sound.answers
    assert broken.before == sound.before
    assert (truth.soc_frac, truth.energy_out_wh()) == (same.soc_frac, same.energy_out_wh())


def one(low: float, mid: float, high: float, unit: str = "m") -> dict:
    return {"low": low, "mid": mid, "high": high, "unit": unit}


OLD = {"7": {"range.distance": one(80, 100, 120), "range.charge": one(0.5, 0.6, 0.7, "frac")}}


@pytest.mark.parametrize(("path", "now", "beyond"), [
    ("range.distance", one(80, 100, 120), False),
    ("range.distance", one(81.9, 101.9, 121.9), False),
    ("range.distance", one(82.1, 102.1, 122.1), True),  # the middle by 2.1 %
    ("range.distance", one(78.1, 100, 121.9), False),
    ("range.distance", one(77.9, 100, 122.1), True),  # the width by 10.5 %
    ("range.charge", one(0.519, 0.619, 0.719, "frac"), False),
    ("range.charge", one(0.521, 0.621, 0.721, "frac"), True),  # by 2.1 points
])  # fmt: skip
def test_the_bars_are_two_and_ten_per_cent(path, now, beyond):
    rows = list(twins.compared(OLD, {"7": OLD["7"] | {path: now}}))
    assert [row.where for row in rows if row.beyond] == ([f"7: {path}"] if beyond else [])


def test_an_answer_that_is_no_longer_given_is_beyond_the_bars(tmp_path, capsys):
    now = {"7": {"range.charge": OLD["7"]["range.charge"]}}
    for name, data in (("old", OLD), ("new", now)):
        (tmp_path / name).write_text(json.dumps(data))
    compare = ["--twins-compare", str(tmp_path / "old")]
    assert main([*compare, str(tmp_path / "new")]) == 1
    assert "7: range.distance" in capsys.readouterr().out
    assert main([*compare, str(tmp_path / "old")]) == 0
    assert "2 estimates: 2 the same, 0 beyond a bar" in capsys.readouterr().out

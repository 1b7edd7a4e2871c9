"""The bars of the score, on thirty boats of each kind; see `score`.

Hours of processor time, so they are judged with KEELWATT_FULL=1 alone; `python -m tests.field.score
--boats 1 --seed 2` prints the same figures for one boat of each kind in some minutes. What was
measured stands in tests/README.md.
"""

import os

import pytest

from tests.boats.kinds import KINDS
from tests.field.score_ask import boat_answers
from tests.field.score_marks import summary

FULL = bool(os.environ.get("KEELWATT_FULL"))
pytestmark = [
    pytest.mark.field,
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore"),
    pytest.mark.skipif(not FULL, reason="hours of processor time: KEELWATT_FULL=1"),
]
FIRST = 2000
BOATS = [(kind, FIRST + n) for kind in KINDS for n in range(30)]
FLAT = ("lfp_full", "lfp_minimal", "no_heading", "gps_lost", "turning_tide", "veering_wind")

# name: (what of `summary`, lowest, highest, which answers)
BARS = {
    "range held": ("held", 0.76, 0.84, lambda a: True),
    "truth below": ("below", 0.0, 0.12, lambda a: True),
    "error at half charge": ("off", 0.0, 0.10, lambda a: 0.45 < a["true_soc"] < 0.65),
    "interval score over the oracle's": ("over_oracle", 0.0, 4.0, lambda a: True),
    "interval score over counting's": ("over_counting", 0.0, 0.35, lambda a: True),
    "better than counting": ("better", 0.90, 1.0, lambda a: True),
    "held just after a change": ("held", 0.70, 0.90, lambda a: a["changed"]),
    "charge held": ("soc_held", 0.76, 0.84, lambda a: True),
    "charge on the flat part": ("soc_rmse", 0.0, 0.03, lambda a: a["kind"] in FLAT),
}
BARS |= {f"{k} held": ("held", 0.70, 0.90, lambda a, k=k: a["kind"] == k) for k in KINDS}


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    rows = []
    for kind, number in BOATS:
        rows += boat_answers(kind, number, tmp_path_factory.mktemp(kind))
    return rows


@pytest.mark.parametrize("name", list(BARS))
def test_score_meets_its_bar(name, answers):
    what, low, high, chosen = BARS[name]
    figure = summary([a for a in answers if chosen(a)])[what]
    assert low <= figure <= high, f"{name}: {figure:.3f}, wants {low} to {high}"

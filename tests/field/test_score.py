"""The bars of the score, on one boat of each kind and one more; see `score`.

Counts of one boat a kind say little of a kind: by default only what all answers together show is
judged. KEELWATT_FULL=1 takes 30 boats of each kind and judges the kinds too (hours of processor
time; `python -m tests.field.score --boats 30` prints the same).
"""

import os

import pytest

from replay.boatsim.kinds import KINDS
from tests.field.score_ask import boat_answers
from tests.field.score_marks import summary

FULL = bool(os.environ.get("KEELWATT_FULL"))
pytestmark = [pytest.mark.field, pytest.mark.slow, pytest.mark.filterwarnings("ignore")]
FIRST = 2000
BOATS = [
    (kind, FIRST + n)
    for kind in KINDS
    for n in range(30 if FULL else 2 if kind == "lfp_minimal" else 1)
]
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
if FULL:
    BARS |= {f"{k} held": ("held", 0.70, 0.90, lambda a, k=k: a["kind"] == k) for k in KINDS}
# Measured on these 59 answers; "floor" and "ceiling" are the bars.
MISSES = {
    "range held": "51 % of 59, floor 76: the label's capacity; another speed after a change",
    "truth below": "39 % of 59, ceiling 12: capacity of aged packs is taken from the label",
    "interval score over the oracle's": "median 17.3, ceiling 4: capacity; ranges too narrow",
    "interval score over counting's": "2.19, ceiling 0.35: answers just after a change of throttle",
    "better than counting": "64 % of those that can count, floor 90",
    "held just after a change": "0 of 9, floor 70 %: answered for the most economical speed",
    "charge held": "59 % of 56, floor 76: counted from full with the label's capacity",
    "charge on the flat part": "RMSE 5.4 points, ceiling 3: the same",
}


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    rows = []
    for kind, number in BOATS:
        rows += boat_answers(kind, number, tmp_path_factory.mktemp(kind))
    return rows


def _marked(name):
    why = MISSES.get(name)
    marks = [pytest.mark.xfail(strict=True, reason=why)] if why and not FULL else []
    return pytest.param(name, marks=marks, id=name.replace(" ", "_"))


@pytest.mark.parametrize("name", [_marked(name) for name in BARS])
def test_score_meets_its_bar(name, answers):
    what, low, high, chosen = BARS[name]
    figure = summary([a for a in answers if chosen(a)])[what]
    assert low <= figure <= high, f"{name}: {figure:.3f}, wants {low} to {high}"

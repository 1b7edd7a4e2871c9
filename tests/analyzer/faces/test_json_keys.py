"""Names that programs outside read in `--json`: they may be added to, and never renamed."""

from dataclasses import fields

import pytest

from analyzer.estimation.estimate import Estimate
from analyzer.estimation.results import HomeAnswer, RangeAnswer
from analyzer.range.hindcast import Asked

KEYS = {
    Estimate: {"mid", "low", "high", "unit", "coverage", "reason", "used", "missing"},
    RangeAnswer: {
        "asked_utc_s", "data_age_s", "motoring", "speed_water_mps", "speed_ground_mps", "power_w",
        "charge", "distance", "duration", "limit", "curve", "next_action", "home", "flags",
    },
    HomeAnswer: {"distance_m", "can_return_frac", "turn_in", "speed_water_mps"},
    Asked: {"t_utc_s", "distance_m", "soc_frac", "foreseen_m", "made_m"},
}  # fmt: skip


@pytest.mark.parametrize("answer", KEYS, ids=lambda kind: kind.__name__)
def test_no_key_is_renamed(answer):
    assert KEYS[answer] <= {field.name for field in fields(answer)}

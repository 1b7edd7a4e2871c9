"""A throttle that is moved up and down every three minutes for an hour, on boats of other physics.

Twenty seconds after each move the question is put; truth is what the simulated boat would do with
the new setting held. Bars: the issue that asked for it.
"""

from math import log

import pytest

from tests.breakage.asking import Desk
from tests.breakage.logs import write_boat, write_log
from tests.breakage.recordings import Throttle, recording
from tests.breakage.truth import truth_of

FROM_S, EVERY_S, AFTER_S, MOVES = 1320, 180, 20, 20
FACTOR = 0.7
BOATS = ((61, "all"), (21, "plain"))
TRUTH_S = 60  # truth is known at whole minutes


def hour(number: int, kit: str, folder) -> list[tuple[dict, object, object]]:
    """The answers, the true setting of each, and what would come of it."""
    throttle = Throttle(FROM_S, FACTOR, EVERY_S)
    sailed = recording(number, kit, throttle)
    write_boat(folder / "boat.toml", sailed)
    rows, last = [], 0.0
    for k in range(MOVES):
        at = FROM_S + k * EVERY_S + AFTER_S
        write_log(folder / "log.sqlite", sailed, last, at)
        last = at
        data = Desk(folder, sailed.start_utc_s + at).ask("range", words=False).data
        truth = truth_of(sailed, at, throttle)
        whole = truth_of(sailed, -(-at // TRUTH_S) * TRUTH_S, throttle)
        around = [truth_of(sailed, t, throttle).leg[0].heading_deg for t in (at - 300, whole.at)]
        if around == [truth.leg[0].heading_deg] * 2:  # a turn of late is another question
            rows.append((data, truth, whole.ahead(truth.leg[0].speed_mps)))
    return rows


@pytest.fixture(scope="module", params=BOATS, ids=lambda boat: f"{boat[0]}, {boat[1]}")
def answers(request, tmp_path_factory):
    """Those of one boat, asked once."""
    return hour(*request.param, tmp_path_factory.mktemp("hour"))


def test_the_headline_is_about_the_new_setting(answers):
    assert len(answers) >= 12
    for data, truth, _ in answers:
        assert data["about"] in ("power", "present")
        assert data["power_w"] == pytest.approx(truth.power_w, rel=0.15, abs=60.0)


def test_it_names_no_other_speed(answers):
    """The speed is nearer to the present setting's than to the other one's."""
    for data, truth, _ in answers:
        off = abs(log(data["speed_water_mps"] / truth.leg[0].speed_mps))
        assert off < 0.5 * abs(log(FACTOR)), (truth.at, data["speed_water_mps"], truth.leg[0])


def too_far_off(answers) -> list[tuple[int, float]]:
    """When the middle is off by more than the range is wide, and by how many widths."""
    found = []
    for data, truth, ahead in answers:
        far = data["distance"]
        off = abs(float(ahead.distance_m[0]) - far["mid"])
        widths = off / (far["high"] - far["low"])
        if widths > 1:
            found.append((truth.at, widths))
    return found


def test_it_is_never_off_by_more_than_its_range(answers):
    assert too_far_off(answers) == []

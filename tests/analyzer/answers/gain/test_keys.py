"""KEY=VALUE: what can be asked, and each mistake as one sentence."""

import pytest

from analyzer.answers.gain.keys import changed_boat, known_keys
from analyzer.errors import BadChange
from logger.boat import Boat
from tests.support.hull_boat import boat

CABLED = Boat.model_validate(
    boat().model_dump()
    | {"cable": [{"name": "plus", "size_awg": "2", "length_m": 1.5}], "hotel": {"power_w": 40.0}}
)


def test_a_number_is_changed_and_the_rest_stays():
    changed, rows = changed_boat(CABLED, ("pack.rated_capacity_ah=200", "hotel.power_w=10"))
    assert changed.pack.rated_capacity_ah == 200
    assert changed.hotel.power_w == 10
    assert changed.hull == CABLED.hull
    assert [row.was for row in rows] == [CABLED.pack.rated_capacity_ah, 40.0]


def test_a_cable_has_one_size_by_one_key():
    changed, _ = changed_boat(CABLED, ("cable.plus.size_mm2=70",))
    assert (changed.cable[0].size_mm2, changed.cable[0].size_awg) == (70, None)


def test_what_the_file_does_not_tell_stays_untold():
    """A load that the file leaves out is drawn; a what-if of the pack is no word about it."""
    changed, _ = changed_boat(boat(), ("pack.rated_capacity_ah=200",))
    assert "power_w" not in changed.hotel.model_fields_set


MISTAKES = {
    "pack.rated_capacity=200": "did you mean pack.rated_capacity_ah?",
    "rated_capacity_ah=200": "did you mean pack.rated_capacity_ah?",
    "cable.pluss.size_mm2=70": "did you mean cable.plus.size_mm2?",
    "solar.peak=300": "did you mean solar.peak_w?",
    "zzz=1": "it can be asked of pack.rated_capacity_ah",
    "pack.rated_capacity_ah=-5": "wants a number of ampere-hours between 0 and 20000; got -5",
    "pack.rated_capacity_ah=many": "wants a number of ampere-hours",
    "pack.cells_in_series=3.5": "wants a whole number from 1 to 200",
    "pack.chemistry=nmc": "another chemistry is another battery",
    "motor.gear_ratio=2": "shaft speed and controller power",
    "hull.waterline_m=9": "another hull is not in it",
    "pack.rated_capacity_ah": "wants KEY=VALUE",
    "=3": "wants KEY=VALUE",
    "solar.peak_w=": "wants KEY=VALUE",
}


@pytest.mark.parametrize("wish", MISTAKES)
def test_a_mistake_is_one_sentence(wish: str):
    with pytest.raises(BadChange, match=r"^what if") as told:
        changed_boat(CABLED, (wish,))
    assert MISTAKES[wish] in str(told.value)
    assert "\n" not in str(told.value)


def test_twice_is_a_mistake():
    with pytest.raises(BadChange, match=r"solar\.peak_w is given twice"):
        changed_boat(CABLED, ("solar.peak_w=100", "solar.peak_w=200"))


def test_every_known_key_can_be_asked():
    values = {"size_awg": "4", "propeller_blades": "2", "cells_in_series": "8", "soc_frac": "0.3"}
    values |= {"cell_resistance_ohm": "0.002"}
    for key in known_keys(CABLED):
        value = values.get(key.rpartition(".")[2], "2.9")
        changed, rows = changed_boat(CABLED, (f"{key}={value}",))
        assert rows[0].key == key
        assert changed != CABLED

"""From two boat files to one changed question, number by number."""

import numpy as np
import pytest

from analyzer.answers.gain.boat_changes import Place, changed_question, path_ohm
from analyzer.answers.gain.keys import changed_boat
from analyzer.errors import BadChange
from analyzer.range.sample import sample
from logger.boat import Boat
from tests.support.hull_boat import boat
from tests.support.range_inputs import question

NOON = Place(utc_s=1_782_907_200.0, place_deg=(50.0, 0.0))  # 2026-07-01 12:00 UTC, Greenwich
CABLES = [
    {"name": "plus", "size_mm2": 35.0, "length_m": 1.5},
    {"name": "minus", "size_mm2": 35.0, "length_m": 2.5, "current_channel": "controller_current_a"},
    {"name": "windlass", "size_mm2": 25.0, "length_m": 6.0, "current_channel": "other_a"},
]


def afloat(**parts) -> Boat:
    table = boat().model_dump(exclude_unset=True)
    own = {name: table.get(name, {}) | value for name, value in parts.items() if name != "cable"}
    return Boat.model_validate(table | own | {k: v for k, v in parts.items() if k == "cable"})


def asked(now: Boat, *wishes: str, place: Place = NOON):
    """The usual question changed, and what the changes rest on."""
    then, _ = changed_boat(now, wishes)
    return changed_question(question(), now, then, place)


def test_a_label_s_resistance_goes_by_its_ratio():
    now = afloat(pack={"cell_resistance_ohm": 0.001})
    given, said = asked(now, "pack.cell_resistance_ohm=0.003")
    assert given.charge["r0_ohm"] == pytest.approx(3 * question().charge["r0_ohm"])
    assert "times new over old label" in said[0]


def test_size_and_resistance_together_are_the_new_label_s():
    """Twice the plates halve what the old label says; a new label of a quarter is half of that."""
    now = afloat(pack={"cell_resistance_ohm": 0.004})
    rated = 2 * now.pack.rated_capacity_ah
    wishes = (f"pack.rated_capacity_ah={rated}", "pack.cell_resistance_ohm=0.001")
    given, _ = asked(now, *wishes)
    assert given.charge["r0_ohm"] == pytest.approx(question().charge["r0_ohm"] / 8)


def test_limits_are_those_asked_for_and_the_cable_s_stays():
    given, said = asked(afloat(), "reserve.soc_frac=0.35", "motor.cutback_v=40")
    assert (given.limits.reserve_frac, given.limits.controller_v) == (0.35, 40)
    assert given.limits.cable_ohm == question().limits.cable_ohm
    assert said == ("the limits: as given",)


def test_the_motor_s_path_is_its_copper_warm():
    """IEC 60228, class 5: 35 mm² has 0.554 mΩ/m at 20 °C; 40 °C adds 7.86 % (IEC 60028); the
    windlass's cable is another's."""
    expected = 4.0 * 0.554e-3 * (1 + 0.00393 * 20)
    assert path_ohm(afloat(cable=CABLES)) == pytest.approx(expected, rel=1e-6)


def test_a_larger_cable_saves_its_copper():
    now = afloat(cable=CABLES)
    given, said = asked(now, "cable.minus.size_mm2=70")
    before, after = sample(question()).draws, sample(given).draws
    assert np.all(after.log_power < before.log_power)
    less = 2.5 * (0.554e-3 - 0.272e-3) * (1 + 0.00393 * 20)  # IEC 60228
    assert said[0] == f"the cables: {1e3 * less:.2f} mΩ less by IEC 60228"


def test_a_thinner_cable_costs():
    given, said = asked(afloat(cable=CABLES), "cable.plus.size_mm2=10")
    assert np.all(sample(given).draws.log_power > sample(question()).draws.log_power)
    assert "mΩ more" in said[0]


def test_another_s_cable_changes_nothing():
    given, said = asked(afloat(cable=CABLES), "cable.windlass.size_mm2=50")
    assert sample(given).draws.log_power == pytest.approx(sample(question()).draws.log_power)
    assert "not in the motor's path" in said[0]


def test_a_propeller_wants_the_one_aboard():
    with pytest.raises(BadChange, match=r"wants motor\.propeller_diameter_m and"):
        asked(afloat(), "motor.propeller_pitch_m=0.3")


def test_a_propeller_outside_the_series_is_refused():
    now = afloat(motor={"propeller_diameter_m": 0.35, "propeller_pitch_m": 0.25})
    with pytest.raises(BadChange, match=r"0\.5 to 1\.4 of their diameter; got 3 blades and 1\.71"):
        asked(now, "motor.propeller_pitch_m=0.6")


def test_a_measured_advance_is_named_as_what_tells_the_loading():
    """Only where the log also saw speeds: without them nobody knows at which the turns were."""
    now = afloat(motor={"propeller_diameter_m": 0.35, "propeller_pitch_m": 0.25})
    place = Place(NOON.utc_s, NOON.place_deg, advance_m=(0.18, 0.004))
    _, said = asked(now, "motor.propeller_pitch_m=0.27", place=place)
    assert "the shaft's turns are not known" in said[0]


def test_first_panels_give_sun_by_day_and_none_by_night():
    day, said = asked(afloat(), "solar.peak_w=200")
    night = Place(NOON.utc_s + 43_200.0, NOON.place_deg)
    dark, _ = asked(afloat(), "solar.peak_w=200", place=night)
    assert sample(day).draws.sun_w.mean() > 20.0
    assert sample(dark).draws.sun_w.max() == 0.0
    assert "the usual share of a clear sky" in said[0]


def test_the_same_value_changes_nothing_and_says_so():
    now = afloat(hotel={"power_w": 40.0})
    given, said = asked(now, "hotel.power_w=40")
    assert given.changes == ()
    assert said == ("the boat file has that value already: nothing changes",)

"""`--what-if` on the command line: the difference, and the boat as it is left as it was."""

import json

import pytest

from analyzer.faces.cli import main

# Of pvlib, in another library's name for the day of the year.
pytestmark = pytest.mark.filterwarnings("ignore:DatetimeIndex.dayofyear")
ROUTE = """<gpx version="1.1" creator="a test" xmlns="http://www.topografix.com/GPX/1/1"><rte>
<rtept lat="46.28" lon="-23.87"/><rtept lat="46.30" lon="-23.84"/></rte></gpx>"""


@pytest.fixture
def said(demo_log, capsys):
    """What a command prints, and its exit status."""

    def ask(*words):
        capsys.readouterr()
        status = main.main([*words, "--log", str(demo_log)])
        out = capsys.readouterr()
        return status, out.out, out.err

    return ask


def without_ages(answer):
    return {k: v for k, v in answer.items() if k not in ("data_age_s", "flags", "flags_over")}


def test_the_boat_as_it_is_stays_as_it_was(said):
    """What was measured is not mixed with what is only supposed."""
    plain = json.loads(said("range", "--json")[1])
    changed = json.loads(said("range", "--json", "--what-if", "pack.rated_capacity_ah=300")[1])
    assert without_ages(changed["as_is"]) == without_ages(plain)
    assert changed["distance_more"]["low"] > 0


def test_the_difference_comes_first(said):
    status, text, _ = said("range", "--what-if", "pack.rated_capacity_ah=300")
    assert status == 0
    first = " ".join(text.partition("\n\n")[0].split())
    assert first.startswith("With pack.rated_capacity_ah = 300 (the file has 148) you can go")
    assert "more, eight times in ten" in first
    assert "The change is worked out, not measured" in text


def test_a_gain_of_metres_is_told_in_metres(said):
    _, text, _ = said("range", "--what-if", "cable.battery_positive.size_mm2=70")
    first = " ".join(text.partition("\n\n")[0].split())
    assert " m to " in first


def test_a_plan_is_walked_at_the_same_speeds(said, tmp_path):
    (tmp_path / "way.gpx").write_text(ROUTE)
    asked = ("plan", str(tmp_path / "way.gpx"), "--depart", "2026-05-16T13:00Z")
    changed = json.loads(said(*asked, "--json", "--what-if", "hotel.power_w=5")[1])
    speeds = [
        [leg["speed_water_mps"] for leg in plan["legs"]]
        for plan in (changed["as_is"]["plan"], changed["plan"])
    ]
    assert speeds[0] == speeds[1]
    assert changed["energy_more"]["high"] < 0 < changed["charge_more"]["low"]
    text = " ".join(said(*asked, "--what-if", "hotel.power_w=5")[1].split())
    assert "charge on arrival" in text


def test_a_mistake_is_a_sentence_and_status_2(said):
    status, out, err = said("range", "--what-if", "pack.rated=3")
    assert (status, out) == (2, "")
    assert err == "keelwatt: what if: there is no key 'pack.rated'; did you mean " + (
        "pack.rated_capacity_ah?\n"
    )


def test_the_trip_that_was_is_told_from_what_was_measured(said):
    """The charge that would have been left is the measured one and what lies between."""
    plain = json.loads(said("review", "--json")[1])["trip"]
    changed = json.loads(said("review", "--json", "--what-if", "pack.rated_capacity_ah=348")[1])
    assert changed["trip"] == plain
    end, more = changed["charge_end"]["mid"], changed["charge_more"]["mid"]
    assert end == pytest.approx(plain["charge_end"]["mid"] + more, abs=0.01)
    text = " ".join(said("review", "--what-if", "pack.rated_capacity_ah=348")[1].split())
    assert "you would have ended trip" in text
    assert "of the whole charge, eight times in ten" in text


def test_a_trip_that_is_not_there_is_a_sentence(said):
    status, _, err = said("review", "99", "--what-if", "solar.peak_w=400")
    assert status == 2
    assert "there is no trip 99" in err

"""What contradicts what, on readings made by hand."""

import numpy as np
import pytest

from analyzer.grounds.plausible import REVERSED, recently
from analyzer.series.series import Series
from logger.boat import Hotel
from tests.support.motor_boat import motor_boat

BOAT = motor_boat(hotel=Hotel(power_w=50.0, measured_in_pack_current=True))
N = 300


def under_way() -> dict[str, np.ndarray]:
    """Five minutes at about 3 kW: 51 V and 60 A at the pack, 50 V and 59 A at the controller."""
    rng = np.random.default_rng(1)
    wave = np.sin(np.arange(N) / 20)
    return {
        "pack_voltage_v": 51 + 0.1 * rng.standard_normal(N),
        "pack_current_a": 60 + 12 * wave + rng.standard_normal(N),
        "controller_voltage_v": 50 + 0.1 * rng.standard_normal(N),
        "controller_current_a": 59 + 12 * wave + rng.standard_normal(N),
        "latitude_deg": 50 + 2e-5 * np.arange(N),
        "longitude_deg": np.full(N, -4.0),
        "pack_temp_c": np.full(N, 18.0),
        "ambient_temp_c": np.full(N, 15.0),
    }


WAY = under_way()


def found(changed: dict[str, np.ndarray]) -> set[str]:
    return {name for name, _ in recently(Series(0, 1.0, N, under_way() | changed), BOAT)}


def test_what_agrees_is_not_contradicted():
    assert found({}) == set()


def jumped() -> np.ndarray:
    lat = under_way()["latitude_deg"]
    lat[200:] += 0.01  # 0.6 nautical miles
    return lat


@pytest.mark.parametrize(
    ("changed", "names"),
    [
        (
            {"pack_current_a": 0.5 * under_way()["pack_current_a"]},
            "pack current,controller current",
        ),
        (
            {"pack_voltage_v": 1.1 * under_way()["pack_voltage_v"]},
            "pack voltage,controller voltage",
        ),
        ({"pack_current_a": np.full(N, 61.3)}, "pack current"),
        ({"latitude_deg": jumped()}, "position"),
        ({"latitude_deg": np.full(N, -168.2)}, "position"),  # with the longitude swapped
        ({"pack_temp_c": np.full(N, 64.4)}, "pack temperature"),  # 18 °C in Fahrenheit
    ],
)
def test_what_others_contradict_is_named(changed: dict[str, np.ndarray], names: str):
    assert found(changed) == set(names.split(","))


@pytest.mark.parametrize(("warmer_k", "named"), [(29.0, False), (31.0, True)])
def test_a_pack_thirty_kelvin_above_the_air_is_not_believed(warmer_k, named):
    assert ("pack temperature" in found({"pack_temp_c": np.full(N, 15.0 + warmer_k)})) is named


def test_one_value_for_a_minute_is_frozen_and_for_less_is_not():
    """Sixty readings a second apart; the controller's current moves by a fifth."""

    def named(seconds: int) -> bool:
        way = {k: v[-seconds:] for k, v in under_way().items()}
        way["pack_current_a"] = np.full(seconds, 61.3)
        series = Series(0, 1.0, seconds, way)
        return any(by.startswith("itself") for _, by in recently(series, BOAT))

    assert named(60)
    assert not named(59)


@pytest.mark.parametrize("share", [0.9, 1.0, 1.3])
def test_a_current_that_flows_the_other_way_is_named_so(share):
    """At nine tenths to a third more of the controller's power, the other way round."""
    changed = {"pack_current_a": -share * under_way()["controller_current_a"]}
    by = dict(recently(Series(0, 1.0, N, under_way() | changed), BOAT))
    assert by["pack current"].startswith(REVERSED)


def test_a_controller_beyond_its_motor_s_rating_is_not_believed():
    """Ten times 3 kW into a motor of 6 kW, with no pack sensor to say otherwise."""
    way = {k: v for k, v in under_way().items() if not k.startswith("pack_")}
    sound = dict(recently(Series(0, 1.0, N, way), BOAT))
    way["controller_current_a"] = 10.0 * way["controller_current_a"]
    wrong = dict(recently(Series(0, 1.0, N, way), BOAT))
    assert "controller current" not in sound
    assert "rating" in wrong["controller current"]


def test_a_kettle_contradicts_nothing():
    # 1.5 kW beside a motor that takes nothing
    wave = np.random.default_rng(2).standard_normal(N)
    assert found({"pack_current_a": 30 + wave, "controller_current_a": 0.1 * wave}) == set()


def with_speed(said_mps: float, scatter_deg: float = 0.0) -> set[str]:
    """The fixes go 2e-5 degrees north a second: 60 nautical miles a degree make it 2.22 m/s."""
    course = 180.0 * np.arange(N) + scatter_deg * np.where(np.arange(N) % 2, 1.0, -1.0)
    changed = {
        "speed_ground_mps": np.full(N, said_mps) + 0.01 * np.sin(np.arange(N)),
        "course_ground_deg": np.where(scatter_deg, course % 360.0, 0.0),
    }
    return found(changed)


@pytest.mark.parametrize(("said_mps", "believed"), [(0.3, False), (2.0, True), (2.3, True)])
def test_no_way_is_shorter_than_the_line_between_its_fixes(said_mps, believed):
    assert ("speed over ground" not in with_speed(said_mps)) is believed


def test_a_way_is_longer_than_that_line_only_where_the_boat_turns():
    assert "speed over ground" in with_speed(4.5)
    assert "speed over ground" not in with_speed(4.5, scatter_deg=60.0)


def test_a_speed_that_went_wrong_half_a_minute_ago_is_seen():
    said = np.full(N, 2.2)
    said[-30:] -= 2.0
    assert "speed over ground" in found({"speed_ground_mps": said})


def test_fixes_a_minute_apart_are_no_jumps():
    """134 m apart at 2.2 m/s, each held until the next comes."""
    held = WAY["latitude_deg"][np.arange(N) // 60 * 60]
    assert found({"latitude_deg": held, "speed_ground_mps": np.full(N, 2.2)}) == set()


@pytest.mark.parametrize("last", [20, 40, 100, 200])
def test_a_position_that_fell_silent_contradicts_nothing(last):
    lat, lon = (WAY[name].copy() for name in ("latitude_deg", "longitude_deg"))
    lat[-last:] = lon[-last:] = np.nan
    speed = np.full(N, 2.2)
    assert found({"latitude_deg": lat, "longitude_deg": lon, "speed_ground_mps": speed}) == set()

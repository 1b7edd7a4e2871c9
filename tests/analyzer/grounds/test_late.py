"""Which sensor is named as late, on an hour of a boat made by hand. All figures invented."""

import numpy as np
import pytest

from analyzer.grounds.delay import LOOKS_S, MOST_S, STEP_S
from analyzer.grounds.late import CHANNELS, late
from analyzer.series.series import Series
from tests.support.motor_boat import motor_boat

BOAT = motor_boat()
N = round((max(LOOKS_S) + MOST_S) / STEP_S)
DELAY = round(120.0 / STEP_S)
DEVICES = {
    "gps": ("speed_ground_mps", "course_ground_deg"),
    "pack": ("pack_current_a",),
    "voltmeter": ("pack_voltage_v",),
    "shaft": ("shaft_speed_rps",),
    "compass": ("heading_true_deg",),
}


def under_way() -> dict[str, np.ndarray]:
    """Legs of eight minutes at two settings and on four courses, in a stream of 0.5 m/s."""
    rng = np.random.default_rng(1)
    leg = np.arange(N) // 96
    speed = np.array([2.0, 2.6, 1.6])[leg % 3]
    heading = np.array([20.0, 110.0, 300.0, 200.0])[leg % 4]
    current = 3.0 * speed**3 + 0.3 * rng.standard_normal(N)
    east = speed * np.sin(np.radians(heading)) + 0.5
    north = speed * np.cos(np.radians(heading))
    return {
        "pack_voltage_v": 52 - 0.02 * current + 0.005 * rng.standard_normal(N),
        "pack_current_a": current + 2 + 0.3 * rng.standard_normal(N),
        "controller_current_a": current,
        "shaft_speed_rps": 6 * speed + 0.02 * rng.standard_normal(N),
        "heading_true_deg": (heading + rng.standard_normal(N)) % 360,
        "speed_ground_mps": np.hypot(east, north) + 0.03 * rng.standard_normal(N),
        "course_ground_deg": (np.degrees(np.arctan2(east, north)) + rng.standard_normal(N)) % 360,
    }


WAY = under_way()


def named(way: dict[str, np.ndarray]) -> dict[str, str]:
    return dict(late(Series(0, STEP_S, N, way), BOAT))


def with_late(device: str) -> dict[str, np.ndarray]:
    moved = {name: np.roll(WAY[name], DELAY) for name in DEVICES[device]}
    for name, values in moved.items():
        values[:DELAY] = WAY[name][0]
    return WAY | moved


def test_nothing_is_late_on_a_sound_boat():
    assert named(WAY) == {}


@pytest.mark.parametrize(
    ("device", "inputs"),
    [
        ("gps", {"speed over ground", "course over ground"}),
        ("pack", {"pack current"}),
        ("voltmeter", {"pack voltage"}),
        ("shaft", {"shaft speed"}),
        ("compass", {"heading"}),
    ],
)
def test_the_late_device_is_named_and_no_other(device, inputs):
    found = named(with_late(device))
    assert set(found) == inputs
    assert all(by.endswith("comes 120 s late") for by in found.values())


def test_without_a_compass_several_changes_of_the_throttle_tell():
    """On one course, as turns in a stream change the speed too."""
    way = with_late("gps")
    del way["heading_true_deg"], way["course_ground_deg"]
    speed = WAY["shaft_speed_rps"] / 6 + 0.5
    way["speed_ground_mps"] = np.concatenate([np.full(DELAY, speed[0]), speed[:-DELAY]])
    assert "speed over ground" in named(way)
    way["speed_ground_mps"] = speed
    assert named(way) == {}


def test_what_is_not_on_board_is_not_late():
    assert named({"pack_voltage_v": WAY["pack_voltage_v"]}) == {}
    assert set(WAY) <= set(CHANNELS)


def test_a_late_pack_sensor_is_seen_on_a_plain_boat():
    # thrust comes before speed: a current that follows the speed is old, whatever the boat
    def plain(late: int) -> dict[str, np.ndarray]:
        rng = np.random.default_rng(2)
        setting = np.array([2.0, 2.6, 1.6, 2.3])[np.arange(N) // 60 % 4]
        # first-order approach to the setting's speed, 30 s, one course, a stream of 0.4 m/s
        speed = np.empty(N)
        speed[0] = setting[0]
        for k in range(1, N):
            speed[k] = setting[k] + np.exp(-STEP_S / 30.0) * (speed[k - 1] - setting[k])
        current = 3.0 * setting**3 + 2.0 + 0.3 * rng.standard_normal(N)
        seen = np.concatenate([np.full(late, current[0]), current[: N - late]])
        return {
            "pack_current_a": seen,
            "pack_voltage_v": 52 - 0.02 * seen,
            "speed_ground_mps": speed + 0.4 + 0.03 * rng.standard_normal(N),
            "course_ground_deg": (40.0 + rng.standard_normal(N)) % 360,
        }

    assert named(plain(0)) == {}
    assert set(named(plain(DELAY))) == {"pack current"}

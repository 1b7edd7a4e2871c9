"""Motor and controller ahead of their limits, on a two-node body that is not the filter's own."""

import numpy as np
import pytest
from pytest import approx

from analyzer.series.series import Series
from analyzer.thermal.drive import DriveHeat, drive_heat
from logger.boat import Motor
from tests.support.two_node_drive import BOAT, two_nodes


def run(load_a: np.ndarray, watts: float, seed: int = 0) -> tuple[DriveHeat, np.ndarray, list]:
    temp = two_nodes(load_a, 20.0, watts, seed)
    values = {"controller_current_a": load_a, "motor_temp_c": temp,
              "ambient_temp_c": np.full(len(temp), 20.0)}  # fmt: skip
    series = Series(0, 1.0, len(temp), values)
    heat = drive_heat(BOAT)
    assert heat is not None
    seen = []
    for k in range(0, series.n, 10):
        heat.update(series.cut(k, k + 10))
        seen += [(k, found) for found in heat.detections()]
    return heat, temp, seen


def test_a_motor_that_will_pass_its_limit_is_told_ahead():
    load = np.full(7200, 110.0)
    _, temp, seen = run(load, 480.0)
    passes = int(np.flatnonzero(temp > 110)[0])
    told = seen[0][0]
    print(f"\ntold {(passes - told) / 60:.0f} min before the limit, at {temp[told]:.0f} °C")
    assert passes - told > 300
    assert seen[0][1].level == "notice"
    assert "min" in seen[0][1].text


@pytest.mark.parametrize("watts", [120.0, 240.0])
def test_a_motor_that_stays_below_is_not_told(watts):
    rng = np.random.default_rng(1)
    load = np.repeat(rng.uniform(20, 110, 24), 300)
    _, temp, seen = run(load, watts)
    assert temp.max() < 100
    assert seen == []


def test_where_it_settles_is_known_after_half_an_hour():
    off, held = [], []
    for seed in range(12):
        amps = 50 + 5.0 * seed
        heat, _, _ = run(np.full(1800, amps), 300.0, seed)
        true = 20 + 300 * (amps / 100) ** 2 * (1 / 7 + 1 / 12)
        said = heat.parts[0].ahead.settles_at
        off.append(abs(said.mid - true))
        held.append(said.low <= true <= said.high)
    print(f"\nsettled off by {np.median(off):.1f} K in the median, held {np.mean(held):.0%}")
    assert np.median(off) < 6.0
    assert np.mean(held) >= 0.6


def test_parts_are_followed_as_if_each_were_alone():
    load = np.repeat([60.0, 110.0, 20.0, 90.0], 600)
    temps = {"motor_temp_c": two_nodes(load, 20.0, 300.0, 1),
             "controller_temp_c": two_nodes(load, 20.0, 150.0, 2)}  # fmt: skip
    limits = {"motor_max_temp_c": 110.0, "controller_max_temp_c": 80.0}
    others = {"controller_current_a": load, "ambient_temp_c": np.full(len(load), 20.0)}

    def settle(limited: dict[str, float], read: dict[str, np.ndarray]) -> list:
        motor = Motor(rated_power_w=BOAT.motor.rated_power_w, **limited)
        heat = drive_heat(BOAT.model_copy(update={"motor": motor}))
        assert heat is not None
        heat.update(Series(0, 1.0, len(load), others | read))
        return [part.ahead.settles_at for part in heat.parts]

    both = settle(limits, temps)
    pairs = zip(limits.items(), temps.items(), strict=True)
    alone = [settle(dict([limit]), dict([read]))[0] for limit, read in pairs]
    for one, other in zip(both, alone, strict=True):
        assert (one.low, one.mid, one.high) == approx((other.low, other.mid, other.high), rel=1e-9)


def test_no_limit_no_watch():
    assert drive_heat(BOAT.model_copy(update={"motor": Motor(rated_power_w=6000)})) is None

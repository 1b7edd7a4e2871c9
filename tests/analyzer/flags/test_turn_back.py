"""The flag to turn for home, raised with lead time."""

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.estimation.detection import LEVELS, Detection
from analyzer.estimation.estimate import Estimate
from analyzer.flags.flag import Evidence, FlagBook
from analyzer.flags.turn_back import Turning
from analyzer.pack.chemistry import chemistry
from analyzer.pack.soc import known, track
from analyzer.series.series import Series
from logger.boat import Boat
from tests.support.hull_boat import boat

HOME = {"name": "home", "latitude_deg": 50.0, "longitude_deg": 0.0}
WATTS, SPEED = 1200.0, 2.3
NO_DETECTION = Detection("the way home", "turn_back", "", 0.5, Estimate(1.0, None, None, "m"))


def out_and_on(hours: float, ah: float, course_deg: float = 90.0) -> tuple[Boat, Series]:
    """From home at full charge, straight on for hours, on a pack of some ampere-hours."""
    n = round(hours * 3600)
    rng = np.random.default_rng(1)
    given = boat().model_dump()
    given["home"] = HOME
    given["pack"]["rated_capacity_ah"] = ah
    given["hotel"] = {"power_w": 30.0}
    current = np.full(n, (WATTS + 30.0) / 52.5)
    soc = 0.98 - np.cumsum(current) / 3600 / ah
    volts = 16 * chemistry("lfp").ocv_v(np.clip(soc, 0, 1), hysteresis=-1.0) - 0.012 * current
    away = SPEED * np.arange(n)
    angle = np.radians(course_deg)
    values = {
        "pack_voltage_v": volts + 0.01 * rng.standard_normal(n),
        "pack_current_a": current + 0.1 * rng.standard_normal(n),
        "speed_ground_mps": SPEED + 0.05 * rng.standard_normal(n),
        "course_ground_deg": (course_deg + rng.standard_normal(n)) % 360,
        "heading_true_deg": np.full(n, course_deg),
        "shaft_speed_rps": np.full(n, 15.0),
        "latitude_deg": 50.0 + away * np.cos(angle) / 111_200.0,
        "longitude_deg": away * np.sin(angle) / 71_700.0,
    }
    return Boat.model_validate(given), Series(0, 1.0, n, values)


def follow(afloat: Boat, series: Series, *, step: int = 60) -> list[tuple[float, str, str]]:
    """Minute by minute: (time, level, title) of what is detected."""
    # from a full charge that was seen: on the plateau alone nobody would know it
    judge, state = Turning(afloat), known(afloat.pack, 0.98, 0.01)
    seen: list[tuple[float, str, str]] = []
    for at in range(0, series.n - step, step):
        piece = series.cut(at, at + step)
        state = track(piece, afloat.pack, state).final
        judge.charge = known(afloat.pack, state.soc, 0.05, t_us=state.t_us)
        judge.update(piece)
        seen += [(at + step, d.level, d.title) for d in judge.detections()]
    return seen


@cache
def outward() -> tuple[Boat, Series, list[tuple[float, str, str]]]:
    """A trip that goes on until the pack is empty, and what is detected on it."""
    afloat, series = out_and_on(2.0, 100.0)
    return afloat, series, follow(afloat, series)


def test_it_is_raised_with_lead_time_and_grows_to_act_now():
    _, _, seen = outward()
    levels = [LEVELS.index(level) for _, level, _ in seen]
    assert levels, "never raised on a trip that goes on until the pack is empty"
    first = {level: t for t, level, _ in reversed(seen)}
    assert first["notice"] < first["act now"]
    assert first["act now"] - first["notice"] >= 300
    # by hand: 100 Ah x 0.78 x 52.5 V / 1230 W = 3.3 h in all above the reserve: half of it out
    assert 0.3 * 3600 < first["act now"] < 1.7 * 3600


def test_silence_near_home_and_with_plenty_left():
    afloat, series = out_and_on(0.7, 400.0)
    assert follow(afloat, series) == []


def test_without_a_home_it_says_nothing():
    _, series = out_and_on(0.2, 100.0)
    judge = Turning(boat())
    judge.update(series)
    assert judge.detections() == []


def test_on_the_way_home_it_does_not_say_turn():
    afloat, series = out_and_on(1.0, 300.0)
    values = {k: v.copy() for k, v in series.values.items()}
    values["longitude_deg"] = values["longitude_deg"][::-1]
    values["course_ground_deg"][:] = 270.0
    values["heading_true_deg"][:] = 270.0
    homeward = Series(0, 1.0, series.n, values)
    assert not [s for s in follow(afloat, homeward) if "turn for home" in s[2]]


def turned_round(series: Series, at: int) -> Series:
    """The same as far as `at`; from there back along the same line at the same speed."""
    values = {k: v.copy() for k, v in series.values.items()}
    back = values["longitude_deg"][:at][::-1][: series.n - at]
    values["longitude_deg"][at : at + len(back)] = back
    for name in ("course_ground_deg", "heading_true_deg"):
        values[name][at:] = (values[name][at:] + 180.0) % 360.0
    return Series(0, 1.0, at + len(back), values).cut(0, at + len(back))


def test_who_has_turned_is_no_longer_told_to_turn():
    afloat, series, told = outward()
    first = next(t for t, level, _ in told if level == "notice")
    at = round(first) + 300
    seen = follow(afloat, turned_round(series, at).cut(0, at + 600))
    assert [t for t, _, title in seen if "turn for home" in title and t < at]
    assert not [t for t, _, title in seen if "turn for home" in title and t > at + 120]


def test_what_the_log_shows_to_be_over_needs_no_patience():
    held = replace(NO_DETECTION, key="way/home", channels=("speed_ground_mps",))
    for over, want in ((frozenset(), []), (frozenset({"way/home"}), ["cleared"])):
        book = FlagBook()
        book.see(0, [held])
        seen = Evidence(10_000_000, frozenset({"speed_ground_mps"}), loaded=True, over=over)
        assert [event.action for event in book.see(10_000_000, [], seen)] == want


def test_an_unsteady_throttle_takes_no_warning_back():
    afloat, series, told = outward()
    first = round(next(t for t, level, _ in told if level == "warning"))
    values = {k: v.copy() for k, v in series.values.items()}
    beat = np.where(np.arange(series.n - first) // 20 % 2, 1.5, 0.5)
    values["pack_current_a"][first:] *= beat
    seen = follow(afloat, Series(0, 1.0, series.n, values).cut(0, first + 600))
    assert [t for t, _, _ in seen if t > first + 400]


@pytest.mark.parametrize("name", ["latitude_deg", "pack_current_a"])
def test_missing_channels_keep_it_silent(name):
    afloat, series = out_and_on(0.5, 60.0)
    series.values[name][:] = np.nan
    judge = Turning(afloat)
    judge.update(series)
    assert judge.detections() == []


def waits_s(lead_s, homeward, sure, found):
    """Time between looks at a boat of which all stays as it is."""
    judge = Turning(boat())
    told = SimpleNamespace(homeward=homeward, can_return_frac=sure, sureness_frac=0.9)
    waits = []
    for _ in range(5):
        judge._wait_s = judge._until_next_s(told, lead_s, found)
        judge._last = found
        waits.append(judge._wait_s)
    return waits


def test_what_stands_is_looked_at_less_often_and_what_comes_is_not():
    def flagged(level):
        return [replace(NO_DETECTION, level=level, key="way/home")]

    # outward: a quarter of what is left until the turning point, a minute at the least
    assert waits_s(2400.0, False, 0.99, [])[-1] == 600.0
    assert waits_s(600.0, False, 0.95, flagged("notice"))[-1] == 150.0
    assert waits_s(100.0, False, 0.95, flagged("warning"))[-1] == 60.0
    # past it nothing comes any more: twice the last wait each time, three minutes at the most
    assert waits_s(0.0, False, 0.7, flagged("act now")) == [60.0, 120.0, 180.0, 180.0, 180.0]
    # on the way home doubt may come as long as home is not amply sure
    assert waits_s(0.0, True, 0.99, [])[-1] == 180.0
    assert waits_s(0.0, True, 0.92, []) == [60.0] * 5

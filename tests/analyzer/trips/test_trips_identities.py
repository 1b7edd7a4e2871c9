"""Trips on random days: labels reading by reading, legs without overlap, sums of parts; windows
against a walk over the boots by hand."""

import math
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analyzer.series.operating import propulsion_power_w
from analyzer.series.series import Series
from analyzer.trips import trips
from analyzer.trips.spans import next_window, unknown_starts
from logger.boat import Hotel
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Boot, Store
from tests.support.motor_boat import motor_boat

BOAT = motor_boat(hotel=Hotel(power_w=50.0, measured_in_pack_current=True))
CHANNELS = {
    "pack_voltage_v": (48.0, 54.0),
    "pack_current_a": (-4.0, 4.0),
    "controller_voltage_v": (47.0, 54.0),
    "controller_current_a": (-1.0, 3.0),
    "hotel_power_w": (0.0, 120.0),
    "shore_power_w": (0.0, 20.0),
    "solar_power_w": (0.0, 60.0),
    "shaft_speed_rps": (-1.0, 1.0),
    "motor_speed_rps": (-1.0, 1.0),
    "speed_ground_mps": (0.0, 1.2),
    "speed_water_mps": (0.0, 1.2),
}


def noise(seed: int, step_s: float = 1.0, n: int = 60) -> Series:
    """Readings around every threshold, channels and readings missing."""
    rng = np.random.default_rng(seed)
    values = {}
    for name, (low, high) in CHANNELS.items():
        if rng.random() < 0.7:
            column = rng.uniform(low, high, n)
            column[rng.random(n) < rng.choice([0.1, 0.5])] = np.nan
            values[name] = column
    return Series(10**15, step_s, n, values)


def first(log: Series, k: int, *names: str) -> float:
    return next((v for n in names if math.isfinite(v := float(log.get(n)[k]))), math.nan)


def controller_w(log: Series, k: int) -> float:
    volts = first(log, k, "controller_voltage_v", "pack_voltage_v")
    return float(volts * log.get("controller_current_a")[k])


def motor_w(log: Series, k: int) -> float:
    """The pack's balance, else what the controller takes."""
    hotel = first(log, k, "hotel_power_w")
    given_w = log.get("pack_voltage_v")[k] * log.get("pack_current_a")[k]
    sources = [first(log, k, n) for n in ("solar_power_w", "shore_power_w")]
    own = 50.0 if math.isnan(hotel) else hotel
    balance = float(given_w - own + sum(v for v in sources if math.isfinite(v)))
    return balance if math.isfinite(balance) else controller_w(log, k)


def drives(log: Series, k: int) -> bool:
    """Two of three where pack, controller and shaft are measured; else all that are."""
    says = [motor_w(log, k) > 60.0]
    taken, shaft = controller_w(log, k), first(log, k, "shaft_speed_rps", "motor_speed_rps")
    if math.isfinite(taken):
        says.append(taken > 60.0)
    if math.isfinite(shaft):
        says.append(abs(shaft) > 0.5)
    return sum(says) >= 2 if len(says) == 3 else all(says)


def kind(log: Series, k: int) -> int:
    """One reading's label by the rules in words: 60 W is a hundredth of the motor's power."""
    power, speed = motor_w(log, k), first(log, k, "speed_ground_mps", "speed_water_mps")
    amps = float(log.get("pack_current_a")[k])
    if not any(map(math.isfinite, (power, speed, amps))):
        return -1
    if drives(log, k):
        return 0
    if speed > 0.6:
        return 1
    if amps < -2.0 or log.get("shore_power_w")[k] > 10.0:
        return 2
    return 3


@given(st.integers(0, 10**6))
def test_labels_are_the_rules_reading_by_reading(seed):
    log = noise(seed)
    power = propulsion_power_w(log, BOAT)
    np.testing.assert_allclose(power, [motor_w(log, k) for k in range(log.n)], rtol=1e-12)
    assert trips.label(log, BOAT).tolist() == [kind(log, k) for k in range(log.n)]


@st.composite
def days(draw) -> Series:
    """Stretches of motoring, sailing, charging, lying and silence, from seconds to an hour."""
    does = {
        "motoring": (60.0, 2.0), "sailing": (-1.0, 2.5), "charging": (-30.0, 0.0),
        "lying": (0.3, 0.0), "silent": (math.nan, math.nan),
    }  # fmt: skip
    step_s = draw(st.sampled_from([5.0, 10.0]))
    parts = draw(st.lists(st.tuples(st.sampled_from(list(does)), st.integers(1, 500)), max_size=12))
    amps = np.concatenate([np.empty(0), *(np.full(n, does[what][0]) for what, n in parts)])
    speed = np.concatenate([np.empty(0), *(np.full(n, does[what][1]) for what, n in parts)])
    volts = np.where(np.isfinite(amps), 50.0, np.nan)
    values = {"pack_current_a": amps, "pack_voltage_v": volts, "speed_ground_mps": speed}
    return Series(10**15, step_s, len(amps), values)


@given(days())
@settings(max_examples=150)
def test_trips_and_legs_follow_one_another_and_keep_their_rules(log):
    found = trips.find(log, BOAT)
    end_us, span_us = log.t0_us, round(log.n * log.step_s * 1e6)
    for trip in found:
        assert trip.start_us >= end_us
        assert {trip.legs[0].kind, trip.legs[-1].kind} <= {"motoring", "sailing"}
        assert trip.start_us == trip.legs[0].start_us
        assert trip.end_us == trip.legs[-1].end_us
        at_us, moving_us, still_us = trip.start_us, 0, 0
        for leg in trip.legs:
            assert at_us <= leg.start_us < leg.end_us
            # shorter ones have joined a neighbour, unless all there is is short
            assert leg.end_us - leg.start_us >= 120e6 or log.n * log.step_s < 120
            if leg.kind in ("motoring", "sailing"):
                assert leg.start_us - at_us + still_us <= 1800e6
                moving_us, still_us = moving_us + leg.end_us - leg.start_us, 0
            else:
                still_us += leg.end_us - at_us
            at_us = leg.end_us
        assert moving_us >= 300e6
        end_us = trip.end_us
    assert end_us - log.t0_us <= span_us
    for one, next_one in pairwise(found):
        assert next_one.start_us - one.end_us > 0


def smoothed(labels: list[int], half: int) -> list[int]:
    """The commonest known label around each reading; of equals the first of `KINDS`."""
    out = []
    for k in range(len(labels)):
        near = [v for v in labels[max(k - half, 0) : k + half + 1] if v >= 0]
        out.append(max(range(4), key=lambda kind: (near.count(kind), -kind)) if near else -1)
    return out


def stretches_of(labels: list[int]) -> list[list[int]]:
    """[label, first, after last], one after the other."""
    out: list[list[int]] = []
    for k, v in enumerate(labels):
        if out and out[-1][0] == v:
            out[-1][2] = k + 1
        else:
            out.append([v, k, k + 1])
    return out


def without_short(labels: list[int], least: float) -> list[int]:
    """The shortest stretch below `least` joins its longer neighbour, until there is none."""
    while True:
        runs = stretches_of(labels)
        short = [(b - a, k) for k, (_, a, b) in enumerate(runs) if b - a < least]
        if not short or len(runs) < 2:
            return labels
        _, k = min(short)
        near = [runs[j] for j in (k - 1, k + 1) if 0 <= j < len(runs)]
        longest = max(near, key=lambda r: r[2] - r[1])[0]
        labels = [longest if runs[k][1] <= j < runs[k][2] else v for j, v in enumerate(labels)]


@given(days())
@settings(max_examples=80)
def test_legs_are_the_smoothed_labels_by_hand(log):
    labels = smoothed(trips.label(log, BOAT).tolist(), int(30 / log.step_s))
    labels = without_short(labels, 120 / log.step_s)
    legs = [leg for trip in trips.find(log, BOAT) for leg in trip.legs]
    at = [round((us - log.t0_us) / 1e6 / log.step_s) for g in legs for us in (g.start_us, g.end_us)]
    said = [[trips.KINDS.index(g.kind), *at[2 * k : 2 * k + 2]] for k, g in enumerate(legs)]
    runs = stretches_of(labels)
    assert all(run in runs for run in said)
    # What moves for as long as a trip must is in one, whatever lies around it.
    assert all(r in said for r in runs if r[0] in (0, 1) and (r[2] - r[1]) * log.step_s >= 300)


@given(days())
@settings(max_examples=60)
def test_a_trip_s_energies_are_its_legs_and_what_lies_unlabelled_between(log):
    for number, trip in enumerate(trips.find(log, BOAT)):
        row = trips.trip_row(log, trip, number)
        net = sum(leg.energy_wh or 0.0 for leg in row.legs)
        for one, after in zip(trip.legs[:-1], trip.legs[1:], strict=True):
            between = trips.between(log, one.end_us, after.start_us)
            out, into = trips.energy_wh(between) or (0.0, 0.0)
            net += out - into
        if row.energy_out_wh is None:
            assert trips.energy_wh(trips.between(log, trip.start_us, trip.end_us)) is None
            continue
        assert row.energy_out_wh - row.energy_in_wh == pytest.approx(net, rel=1e-9, abs=1e-9)


@given(st.integers(0, 10**6), st.integers(0, 60), st.sampled_from([1.0, 2.5]))
def test_energies_of_two_parts_are_the_whole_s_minute_by_minute(seed, at, step_s):
    log = noise(seed, step_s)
    middle_us = log.t0_us + round(at * step_s * 1e6)
    end_us = log.t0_us + round(log.n * step_s * 1e6)
    head, tail = (
        trips.between(log, log.t0_us, middle_us), trips.between(log, middle_us, end_us)
    )  # fmt: skip
    assert (head.n, tail.n, tail.t0_us) == (at, log.n - at, middle_us)
    volts = log.get("pack_voltage_v")
    volts = np.where(np.isfinite(volts), volts, log.get("controller_voltage_v"))
    power = volts * log.get("pack_current_a")
    wh = [w * step_s / 3600 if math.isfinite(w) else 0.0 for w in power.tolist()]
    assert (trips.energy_wh(log) is None) == (not np.isfinite(power).any())
    out, into = trips.energy_wh(log) or (0.0, 0.0)
    minute = round(60 / step_s)
    minutes = [sum(wh[k : k + minute]) for k in range(0, log.n, minute)]
    assert out == pytest.approx(sum(w for w in minutes if w > 0), rel=1e-9, abs=1e-12)
    assert into == pytest.approx(-sum(w for w in minutes if w < 0), rel=1e-9, abs=1e-12)
    halves = [trips.energy_wh(part) or (0.0, 0.0) for part in (head, tail)]
    net = sum(gave - took for gave, took in halves)
    assert net == pytest.approx(out - into, rel=1e-9, abs=1e-12)
    if at % minute == 0:
        both = [a + b for a, b in zip(*halves, strict=True)]
        assert both == pytest.approx([out, into], rel=1e-9, abs=1e-12)


@given(st.integers(0, 10**6))
def test_a_meter_s_noise_is_neither_drawn_nor_put_back(seed):
    """200 W for an hour is 200 Wh. A noise of 1 kW, 129 W over a minute, puts 129·L(200/129) =
    3.4 Wh back (L: unit normal loss); by single readings, 1000·L(0.2) = 307 Wh."""
    scatter_w = np.random.default_rng(seed).standard_normal(3600) * 1000.0
    amps = (200.0 + scatter_w - scatter_w.mean()) / 50.0
    log = Series(0, 1.0, 3600, {"pack_voltage_v": np.full(3600, 50.0), "pack_current_a": amps})
    out, into = trips.energy_wh(log)
    assert out - into == pytest.approx(200.0)
    assert into < 30.0


def test_without_a_power_a_leg_is_under_way_and_not_said_to_be_sailed():
    log = Series(0, 1.0, 600, {"speed_ground_mps": np.full(600, 2.0)})
    leg = trips.Leg("sailing", 0, 600_000_000)
    assert trips.leg_row(log, leg).doing == "under way"
    sailed = {"pack_voltage_v": np.full(600, 50.0), "pack_current_a": np.full(600, 0.2)}
    with_power = Series(0, 1.0, 600, log.values | sailed)
    assert trips.leg_row(with_power, leg).doing == "sailing"
    assert trips.leg_row(log, trips.Leg("motoring", 0, 600_000_000)).doing == "motoring"


def test_what_is_not_recorded_and_what_is_without_the_pack_s_power_is_told_apart():
    """An hour; from 600 s on the pack is silent for 300 s, and all of it from 1800 s for 1200 s."""
    speed, amps = np.full(3600, 2.0), np.full(3600, 30.0)
    amps[600:900] = np.nan
    speed[1800:3000] = amps[1800:3000] = np.nan
    values = {"speed_ground_mps": speed, "pack_current_a": amps, "pack_voltage_v": amps + 20}
    log = Series(0, 1.0, 3600, values)
    assert trips.unseen_s(log) == (1200.0, 300.0)
    trip = trips.Trip(0, 3600_000_000, ())
    row = trips.trip_row(log, trip, 1)
    assert (row.unrecorded_s, row.unread_s) == (1200.0, 300.0)
    doubted = trips.trip_row(log, trip, 1, doubt="its sign is not known")
    assert (doubted.energy_out_wh, doubted.energy_in_wh) == (None, None)
    assert doubted.energy_reason == "its sign is not known"


# -- windows ------------------------------------------------------------------------------------

BOOTS = st.lists(
    st.tuples(st.integers(0, 4000), st.integers(0, 40_000), st.sampled_from([True, True, False])),
    max_size=8,
)


def as_boots(told: list[tuple[int, int, bool]]) -> list[Boot]:
    """Boots one after the other: a silence, then so many seconds of readings; some undated."""
    found, at_us = [], 10**15
    for k, (silent_s, lasts_s, dated) in enumerate(told):
        at_us += silent_s * 10**6
        offset_us = at_us - 5_000_000
        first_us, last_us = 5_000_000, 5_000_000 + lasts_s * 10**6
        utc = offset_us if dated else None
        found.append(Boot(k + 1, f"b{k}", utc, None, None, first_us, last_us, offset_us))
        at_us += lasts_s * 10**6 + 1
    return found


@example([(0, 60, True), (1860, 60, True)])  # a little more than half an hour apart
@example([(0, 60, True), (1740, 60, True)])  # and a little less
@given(BOOTS)
def test_windows_part_the_log_at_long_silences_and_days_and_lose_nothing(told):
    boots = as_boots(told)
    # A boot that writes all the time: there are readings from anywhere on.
    store = SimpleNamespace(boots=lambda: boots, next_filled_us=lambda start_us: start_us)
    log = SimpleNamespace(store=store)
    stretches = [
        (b.first_us + b.timeline_offset_us, b.last_us + b.timeline_offset_us + 1) for b in boots
    ]
    # By hand: join what lies less than half an hour apart, then cut each at every 24 h.
    joined: list[list[int]] = []
    for start, end in stretches:
        if joined and start - joined[-1][1] < 1800 * 10**6:
            joined[-1][1] = end
        else:
            joined.append([start, end])
    day = 86400 * 10**6
    got, at = [], 10**15
    while (window := next_window(log, at)) is not None:
        got.append(window)
        at = window[1]
    want = []
    for start, end in joined:
        while start < end:
            want.append((start, min(start + day, end)))
            start = want[-1][1]
            # what begins in a silence begins where readings do
            start = next((max(start, a) for a, b in stretches if b > start), end)
    assert got == want
    for start, end in got[:3]:
        middle = (start + end) // 2
        assert next_window(log, start, middle) is None or next_window(log, start, middle)[1] <= end


@given(BOOTS)
def test_a_time_of_unknown_length_lies_at_each_end_of_an_undated_boot(told):
    boots = as_boots(told)
    log = SimpleNamespace(store=SimpleNamespace(boots=lambda: boots))
    want = {
        b.first_us + b.timeline_offset_us
        for k, b in enumerate(boots)
        if b.utc_offset_us is None or (k and boots[k - 1].utc_offset_us is None)
    }
    assert unknown_starts(log, 0, 10**18) == want


def test_a_silence_of_days_within_a_boot_parts_windows_as_two_boots_do(tmp_path):
    second, day = 1_000_000, 86400 * 1_000_000
    # By hand: ten minutes, twelve hours of silence, ten minutes; ten days later an hour.
    parts = ((0, 600), (day // 2, 600), (10 * day, 3600))
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        writer = store.writer("boot")
        writer.add(UtcFix(0, 20_000 * day, "file", 1.0))
        for begin_us, count in parts:
            t_us = begin_us + np.arange(count, dtype=np.int64) * second
            group = Group("t", ("pack_current_a",), (EXACT,))
            writer.add(Block(group, t_us, np.ones((count, 1))))
        writer.close()
        log, at, got = SimpleNamespace(store=store), 0, []
        while (window := next_window(log, at)) is not None:
            got.append([us - 20_000 * day for us in window])
            at = window[1]
    assert got == [[0, day // 2 + 600 * second], [10 * day, 10 * day + 3599 * second + 1]]

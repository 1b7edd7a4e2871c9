"""Every breakage does what it says to the readings, and a case is what its seed says."""

from datetime import UTC, datetime

import numpy as np
import pytest
from astral import Observer
from astral.sun import elevation

from logger.store import Store
from tests.boats import voyages
from tests.breakage import cases, drawing
from tests.breakage.breaks import APPLY, WORDS, Break, apply, words
from tests.breakage.logs import write_log
from tests.breakage.recordings import (
    DEVICES,
    KITS,
    Throttle,
    channels_of,
    devices_of,
    recording,
    scene_of,
    split,
)
from tests.breakage.truth import truth_of

BOAT, FROM_S = 3, 3000.0


@pytest.fixture(scope="module")
def sound():
    return recording(BOAT)


def broken(sound, kind, what, amount=0.0, other="", from_s=FROM_S):
    return apply(sound, (Break(kind, what, from_s, amount, other),))


def test_a_recording_is_the_voyage_of_that_number(sound):
    same = voyages.voyage(BOAT)
    said = sound.readings["pack_current_a"].value[: same.n]
    assert np.isfinite(said).mean() > 0.99
    assert np.allclose(sound.outing.soc_frac[: same.n], same.true["soc_frac"])


@pytest.mark.parametrize("kit", KITS)
def test_a_kit_has_its_devices_and_no_other(kit):
    there = {devices_of(name) for name in recording(BOAT, kit).readings}
    assert there == set(KITS[kit])


@pytest.mark.parametrize(("kind", "amount", "expected"), [
    ("scaled", 2.0, lambda v: 2 * v), ("offset", 5.0, lambda v: v + 5),
    ("unit", 10.0, lambda v: 10 * v),
    ("reversed", 0.0, lambda v: -v), ("fahrenheit", 0.0, lambda v: v * 9 / 5 + 32),
])  # fmt: skip
def test_values_change_from_a_moment_on(sound, kind, amount, expected):
    before, after = (r.readings["pack_current_a"].value for r in
                     (sound, broken(sound, kind, "pack_current_a", amount)))  # fmt: skip
    late = sound.readings["pack_current_a"].t_s >= FROM_S
    assert np.array_equal(after[~late], before[~late], equal_nan=True)
    assert np.allclose(after[late], expected(before[late]), equal_nan=True)


def test_noise_has_its_size(sound):
    after = broken(sound, "noisy", "pack_voltage_v", 0.6).readings["pack_voltage_v"]
    added = (after.value - sound.readings["pack_voltage_v"].value)[after.t_s >= FROM_S]
    assert np.nanstd(added) == pytest.approx(0.6, rel=0.05)


def test_a_dead_device_sends_nothing_more(sound):
    after = broken(sound, "dead", "gps").readings
    assert all(after[n].t_s.max() < FROM_S for n in channels_of("gps", after))
    assert after["pack_voltage_v"].t_s.max() > FROM_S


def test_a_frozen_channel_repeats_its_last_value(sound):
    after = broken(sound, "frozen", "pack_current_a").readings["pack_current_a"]
    late = after.value[after.t_s >= FROM_S]
    assert len(set(late)) == 1
    assert late[0] in sound.readings["pack_current_a"].value


def test_delayed_readings_keep_values_and_order(sound):
    after = broken(sound, "delayed", "gps", 30.0).readings["speed_ground_mps"]
    assert np.all(np.diff(after.t_s) >= 0)
    assert np.array_equal(after.value, sound.readings["speed_ground_mps"].value, equal_nan=True)
    assert after.t_s[-1] == sound.readings["speed_ground_mps"].t_s[-1] + 30


def test_sparse_readings_come_once_in_their_interval(sound):
    after = broken(sound, "sparse", "", 60.0).readings
    assert all(np.all(np.diff(r.t_s[r.t_s >= FROM_S]) == 60) for r in after.values())


def test_swapped_channels_carry_each_others_values(sound):
    after = broken(sound, "swapped", "pack_voltage_v", other="controller_voltage_v").readings
    assert after["pack_voltage_v"] is sound.readings["controller_voltage_v"]
    assert after["controller_voltage_v"] is sound.readings["pack_voltage_v"]


@pytest.mark.parametrize(("other", "back"), [("", True), ("for good", False)])
def test_a_position_jumps_by_its_distance(sound, other, back):
    after = broken(sound, "gps jumps", "gps", 3000.0, other).readings["latitude_deg"]
    off_m = (after.value - sound.readings["latitude_deg"].value) * 111_195
    assert np.nanmax(off_m) == pytest.approx(3000 / np.sqrt(2), rel=0.01)
    assert (np.nan_to_num(off_m)[-1] == 0) == back


def test_a_restart_leaves_a_gap_and_begins_a_boot(sound, tmp_path):
    after = broken(sound, "restarted", "", 600.0)
    write_log(tmp_path / "log.sqlite", after, 0, 5000)
    start_us = round(after.start_utc_s * 1e6)
    with Store.open(tmp_path / "log.sqlite") as store:
        t_us, _ = store.read("pack_voltage_v", start_us, start_us + 5_000_000_000)
    silence = np.diff(t_us) / 1e6
    assert silence.max() == pytest.approx(601, abs=3)
    assert len(after.boots) == 2


def test_a_wrong_date_moves_the_whole_log(sound, tmp_path):
    write_log(tmp_path / "log.sqlite", broken(sound, "dated wrong", "", 86_400.0), 0, 300)
    with Store.open(tmp_path / "log.sqlite") as store:
        assert store.span()[0] / 1e6 == pytest.approx(sound.start_utc_s + 86_400, abs=2)


def test_the_log_holds_what_was_recorded_in_pieces_too(sound, tmp_path):
    for first, last in ((0, 1000), (1000, 2000)):
        write_log(tmp_path / "log.sqlite", sound, first, last)
    start_us = round(sound.start_utc_s * 1e6)
    with Store.open(tmp_path / "log.sqlite") as store:
        _, values = store.read("pack_current_a", start_us, start_us + 2_000_000_000)
    said = sound.readings["pack_current_a"].value[:2000]
    assert np.array_equal(values, said[~np.isnan(said)])


def test_one_number_of_the_boat_file(sound):
    after = broken(sound, "boat file", "pack.rated_capacity_ah", 0.5)
    whole = sound.boat["pack"]["rated_capacity_ah"]
    assert after.boat["pack"]["rated_capacity_ah"] == round(whole / 2)
    assert sound.boat["pack"]["rated_capacity_ah"] == whole


@pytest.mark.parametrize("every_s", [0, 180])
def test_a_moved_throttle_leaves_the_plan_as_long_as_it_was(every_s):
    legs = scene_of(BOAT)[2].legs
    moved = split(legs, Throttle(2000, 0.7, every_s))
    assert sum(leg.duration_s for leg in moved) == sum(leg.duration_s for leg in legs)
    assert len(moved) > len(legs)


def test_a_case_is_what_its_seed_says():
    assert [drawing.draw(n) for n in range(40)] == [drawing.draw(n) for n in range(40)]


def test_every_kind_is_drawn_and_has_words():
    kinds = {b.kind for n in range(400) for b in drawing.draw(n).breaks}
    assert kinds == set(APPLY) == set(drawing.DRAW)
    assert all(words(b) for n in range(400) for b in drawing.draw(n).breaks)
    assert set(DEVICES) <= set(WORDS)


def test_only_the_kinds_that_are_asked_for():
    assert {b.kind for n in range(50) for b in drawing.draw(n, ["frozen"]).breaks} == {"frozen"}
    assert not drawing.draw(5, ["sound"]).breaks


@pytest.mark.parametrize("number", [70, 164, 186])
def test_the_sun_shines_on_a_recording_where_an_almanac_has_it_up(number):
    made = recording(number)
    sun = made.readings["solar_power_w"]
    shone = sun.value > 0.05 * made.outing.boat.solar_peak_w
    times = (datetime.fromtimestamp(made.start_utc_s + t, UTC) for t in sun.t_s[shone][::600])
    observer = Observer(made.place.latitude_deg, made.place.longitude_deg)
    # the equation of time is at most 16.5 minutes, four degrees, and the path only so steep
    assert shone.any()
    assert min(elevation(observer, at, False) for at in times) > -5.0


@pytest.mark.parametrize(
    ("hole_s", "covered", "counts"),
    [(50.0, False, True), (600.0, True, True), (600.0, False, False)],
)
def test_what_was_used_in_a_hole_is_asked_of_the_trips_where_one_covers_it(hole_s, covered, counts):
    sound = recording(BOAT)
    truth = truth_of(apply(sound, (Break("restarted", "", FROM_S, hole_s),)), 6600, None)
    series = sound.outing.series
    out_wh = np.maximum(series["pack_v"] * series["pack_a"], 0.0)[:6600] / 3600
    # brute force; less than a minute is none
    in_hole_wh = out_wh[int(FROM_S) : int(FROM_S + hole_s)].sum()
    want = out_wh.sum() - (0.0 if counts else in_hole_wh)
    assert in_hole_wh > 3.0
    spans = [(6600.0, 6600 - FROM_S), (6600 - FROM_S - hole_s, 0.0)]  # the trips around it
    if covered:
        spans = [(6600.0, 0.0)]
    assert truth.energy_out_wh(spans) == pytest.approx(want, abs=1.0)
    assert truth.soc_before(600.0) == sound.outing.soc_frac[6000]


def test_no_passage_is_asked_for_where_the_boat_lies_at_home() -> None:
    """A receiver wanders by some metres; half a mile is a passage. A minute of latitude is 1852 m,
    by definition, and as much of longitude at the equator."""
    assert cases.offset_m((0.0, 0.0), (1 / 60, 0.0)) == pytest.approx(1852.0)
    assert cases.offset_m((0.0, 0.0), (0.0, 1 / 60)) == pytest.approx(1852.0)
    assert cases.offset_m((60.0, 0.0), (60.0, 1 / 60)) == pytest.approx(926.0)
    assert cases.offset_m((50.0, 4.0), (50.00005, 4.00005)) < cases.ROUTE_M < 926.0

"""What the cables' filter takes for air, and when it begins; the readings are put in by hand."""

import numpy as np
import pytest

from analyzer.series.series import Series
from analyzer.thermal import copper
from analyzer.thermal.cable_filter import AIR_OLD_S, WAIT_STEPS, CableHeat, Step, believable
from logger.boat import Cable

A, B = (Cable(name=n, size_mm2=50, length_m=2, probe=n) for n in "ab")
NAN = float("nan")


def readings(air_c, a_c=25.0, b_c=22.0, amps=60.0, n: int = 600) -> Series:
    """Ten seconds a step, one reading a second; numbers stay as they are."""
    values = {
        "ambient_temp_c": air_c, "probe_a_temp_c": a_c, "probe_b_temp_c": b_c,
        "pack_current_a": amps,
    }  # fmt: skip
    return Series(0, 1.0, n, {k: np.broadcast_to(v, n).astype(float) for k, v in values.items()})


def followed(series: Series) -> tuple[CableHeat, list[Step]]:
    heat = CableHeat(((A, B), (B, A)))
    return heat, list(heat.add(series))


def test_measured_air_is_the_air_of_all_from_the_first_step():
    heat, steps = followed(readings(18.0))
    assert heat.measured
    assert steps[0].end_s == 10.0
    assert heat.heat.air_c.tolist() == [18.0, 18.0, 0.0, 0.0]  # pairs are in air of 0 °C


def test_air_that_comes_late_is_waited_for():
    air_c = np.where(np.arange(600) < 30, NAN, 18.0)
    heat, steps = followed(readings(air_c))
    assert steps[0].end_s == 40.0
    assert heat.heat.air_c[0] == 18.0


def test_without_air_the_coldest_other_probe_stands_in():
    heat, steps = followed(readings(NAN))
    assert not heat.measured
    assert steps[0].end_s == 10.0 * WAIT_STEPS
    assert heat.heat.air_c[:2].tolist() == [22.0, 25.0]
    # Nor can an engine room be told from a cable then.
    assert not heat.heat.count_neighbour[:2].any()


def test_without_air_and_other_probes_the_place_itself_is_all_there_is():
    heat, _ = followed(readings(NAN, b_c=NAN))
    assert heat.heat.air_c[0] == 25.0
    assert heat.heat.started.tolist() == [True, False, False, False]


@pytest.mark.parametrize("silent_s", [AIR_OLD_S - 20, AIR_OLD_S + 20])
def test_air_that_falls_silent_holds_for_ten_minutes(silent_s):
    n = round(300 + silent_s)
    air_c = np.where(np.arange(n) < 300, 18.0, NAN)
    heat, _ = followed(readings(air_c, n=n))
    holds = silent_s < AIR_OLD_S
    assert heat.measured == holds
    assert heat.heat.air_c[0] == (18.0 if holds else 22.0)
    assert heat.heat.count_neighbour[:2].all() == holds
    # Prior deviations of the air at a lug, with its sensor and without; pairs keep theirs.
    assert heat.heat.noise.offset_k2.ravel().tolist() == pytest.approx(
        [2.5**2 if holds else 25.0] * 2 + [1.2**2] * 2
    )


def test_air_that_comes_back_is_measured_again():
    air_c = np.full(1800, 18.0)
    air_c[300:1300] = NAN
    heat, _ = followed(readings(air_c, n=1800))
    assert heat.measured
    assert heat.heat.air_c[0] == 18.0


def test_loads_are_squares_of_each_cable_s_reference_and_differences_need_both_probes():
    thin = Cable(name="b", size_mm2=25, length_m=2, probe="b", partner="a")
    heat = CableHeat(((A, thin), (thin, A)))
    (*_, last) = heat.add(readings(18.0))
    ref_a = [0.5 * copper.ampacity_30c_a(c) for c in (A, thin)]  # half of the rating
    assert last.load.tolist() == pytest.approx([(60.0 / amps) ** 2 for amps in ref_a])
    assert last.temp_c.tolist() == [25.0, 22.0]
    assert [part.shape for part in last.rise] == [(4,), (4,)]
    assert heat.heat.started.all()
    one_silent, _ = followed(readings(18.0, b_c=NAN))
    assert one_silent.heat.started.tolist() == [True, False, False, False]


def test_a_gap_is_one_long_step_and_at_most_an_hour():
    heat = CableHeat(((A, None),))
    values = readings(18.0, n=60).values
    starts_s = (0, 1000, 20_000)
    steps = [s for t in starts_s for s in heat.add(Series(t * 1_000_000, 1.0, 60, values))]
    took_s = {step.end_s: step.dt_s for step in steps}
    assert took_s[60.0] == 10.0
    assert took_s[1010.0] == 950.0
    assert took_s[20_010.0] == 3600.0


def test_a_current_that_no_fuse_passes_is_no_reading():
    most = believable((A, Cable(name="c", size_mm2=10, length_m=1)))
    assert most == {"pack_current_a^2": 3 * copper.ampacity_30c_a(A)}


def test_each_cable_has_the_load_of_its_own_current():
    own = Cable(
        name="b", size_mm2=50, length_m=2, probe="b", current_channel="controller_current_a"
    )
    series = readings(18.0)
    values = {**series.values, "controller_current_a": np.full(series.n, 30.0)}
    heat = CableHeat(((A, None), (own, None)))
    (*_, last) = heat.add(Series(0, 1.0, series.n, values))
    assert last.load[0] == pytest.approx(4 * last.load[1])  # half the current, a quarter


def test_only_cables_with_a_partner_have_a_pair():
    alone = Cable(name="c", size_mm2=50, length_m=2, probe="c")
    heat = CableHeat(((alone, None), (A, B), (B, A)))
    list(heat.add(readings(18.0)))
    # three places, then two differences, in air of 0 °C
    assert heat.heat.air_c.tolist() == [18.0, 18.0, 18.0, 0.0, 0.0]
    assert [heat.pair_of(place) for place in range(3)] == [None, 3, 4]
    # By the readings, 3 K apart: one pole's difference is the other's turned round.
    first, second = (float(heat.heat.mean[0, body].mean()) for body in (3, 4))
    assert first == pytest.approx(3.0, abs=0.1)
    assert second == pytest.approx(-first)

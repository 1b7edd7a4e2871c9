"""Cables and joints: the fin solved numerically, heat balances closed, a second ampacity table."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_bvp
from scipy.optimize import brentq

from analyzer.thermal import copper, joints
from logger.boat import Cable

CABLES = [
    Cable(name="x", size_mm2=16, length_m=2),
    Cable(name="x", size_mm2=50, length_m=2, tinned=True),
    Cable(name="x", size_awg="2/0", length_m=2, insulation_rating_c=90),
]


def heat_per_metre(cable: Cable) -> float:
    """By its rated point: what current and resistance make there, over the rise. [W/(m K)]"""
    rated_a, rating_c = copper.ampacity_30c_a(cable), cable.insulation_rating_c
    ohm_per_m = copper.ohm_per_m_20c(cable) * (1 + 0.00393 * (rating_c - 20))
    return rated_a**2 * ohm_per_m / (rating_c - 30)


def fin(cable: Cable, joint_w: float, out_w_k: float, far_k: float) -> tuple[float, float]:
    """Rise at the lug, and kelvin-metres that the lug's rise stores along the cable. [K], [K m]

    k A T'' = g (T - far) on a cable that is long against its fin length; at the lug what arises
    in the joint goes into the cable and out of the lug: joint + k A T' = out T. Solved as a
    boundary value problem. k of copper 390 W/(m K).
    """
    g = heat_per_metre(cable)
    ka = 390.0 * copper.area_mm2(cable) * 1e-6
    span = 12 * math.sqrt(ka / g)

    def slope(_, y):
        return np.vstack([y[1], g * (y[0] - far_k) / ka])

    def ends(a, b):
        return np.array([joint_w + ka * a[1] - out_w_k * a[0], b[0] - far_k])

    x = np.linspace(0, span, 400)
    found = solve_bvp(slope, ends, x, np.zeros((2, 400)), tol=1e-8, max_nodes=50_000)
    assert found.success
    fine = np.linspace(0, span, 20_001)
    return float(found.sol(0.0)[0]), float(np.trapezoid(found.sol(fine)[0] - far_k, fine))


@pytest.mark.parametrize("cable", CABLES)
def test_a_joint_s_path_is_the_fin_solved_numerically(cable):
    j = joints.joint(cable)
    # Beside the fin: 50 cm² at 10 W/(m² K), and what the host lets out; of the joint's watt a part
    # reaches the lug.
    at_lug, _ = fin(cable, joints.REACHES_FRAC, 0.05 + joints.SECOND_W_K, 0.0)
    assert j.path_k_w == pytest.approx(at_lug, rel=1e-4)


@pytest.mark.parametrize("cable", CABLES)
def test_what_a_lug_takes_over_is_the_fin_solved_numerically(cable):
    at_lug, _ = fin(cable, 0.0, 0.05 + joints.SECOND_W_K, 1.0)
    assert joints.joint(cable).from_cable == pytest.approx(at_lug, rel=1e-4)


@pytest.mark.parametrize("cable", CABLES)
def test_time_constants_are_heat_stored_over_heat_let_out(cable):
    j, g, area = joints.joint(cable), heat_per_metre(cable), copper.area_mm2(cable)
    per_metre = 1.6 * 3.45e6 * area * 1e-6  # copper and insulation, J/(m K)
    assert j.tau_s == pytest.approx(per_metre / g, rel=1e-9)
    at_lug, stored = fin(cable, 1.0, 0.0, 0.0)
    taken_up = 0.25 * per_metre * stored / at_lug
    lug_j_k = 0.385 * area + 10.0 + taken_up
    out_w_k = 1 / at_lug + 0.05 + joints.CONTACT_W_K
    assert j.lug_tau_s == pytest.approx(30.0 + lug_j_k / out_w_k, rel=1e-4)


@pytest.mark.parametrize("cable", CABLES)
def test_a_cable_s_rise_is_where_its_heat_balance_closes(cable):
    j, g = joints.joint(cable), heat_per_metre(cable)
    assert j.ref_a == 0.5 * copper.ampacity_30c_a(cable)

    def left_w_m(rise_k):
        ohm = copper.ohm_per_m_20c(cable) * (1 + 0.00393 * (30 + rise_k - 20))
        return j.ref_a**2 * ohm - g * rise_k

    assert j.cable_rise_k == pytest.approx(brentq(left_w_m, 0, 200), rel=1e-9)


@given(
    share=st.floats(0, 1.6), ambient_c=st.floats(-10, 60), rating_c=st.sampled_from([60, 90, 105])
)
def test_settled_rise_closes_the_heat_balance_or_runs_away(share, ambient_c, rating_c):
    rise = float(copper.settled_rise_k(200 * share, ambient_c, 200.0, rating_c))
    cools_w_k = (1 + 0.00393 * (rating_c - 20)) / (rating_c - 30)  # per unit of rated heat
    if math.isinf(rise):  # each kelvin makes more heat than it gives off
        assert share**2 * 0.00393 >= cools_w_k * (1 - 1e-9)
    else:
        makes = share**2 * (1 + 0.00393 * (ambient_c + rise - 20))
        assert makes == pytest.approx(cools_w_k * rise, rel=1e-9, abs=1e-12)


def test_at_its_rated_current_a_cable_is_at_its_rating():
    for rating_c in copper.RATINGS_C:
        assert copper.settled_rise_k(150, 30, 150, rating_c) == pytest.approx(rating_c - 30)


# ISO 10133:2012 annex A, single conductor, 30 °C, 105 °C insulation: mm² and A. From general
# knowledge, provisional; a second table, against the one that the program reads.
ISO_10133 = {6: 60, 10: 90, 16: 130, 25: 170, 35: 210, 50: 270, 70: 330, 95: 390, 120: 450}


@pytest.mark.parametrize("size_mm2", ISO_10133)
def test_metric_ampacity_is_within_a_tenth_of_the_other_table(size_mm2):
    cable = Cable(name="x", size_mm2=size_mm2, length_m=1, insulation_rating_c=105)
    assert copper.ampacity_30c_a(cable) == pytest.approx(ISO_10133[size_mm2], rel=0.1)


@given(st.floats(5.5, 105))
def test_between_table_sizes_ampacity_is_a_power_of_the_area(size_mm2):
    """Straight in both logarithms: d ln A / d ln S is the slope between the two neighbours."""
    cable = Cable(name="x", size_mm2=size_mm2, length_m=1, insulation_rating_c=105)
    areas = {n: copper.awg_area_mm2(n) for n in copper.AMPACITY_A}
    below = max((n for n in areas if areas[n] <= size_mm2), key=lambda n: areas[n])
    above = min((n for n in areas if areas[n] > size_mm2), key=lambda n: areas[n])
    low, high = (copper.AMPACITY_A[n][4] for n in (below, above))
    power = math.log(high / low) / math.log(areas[above] / areas[below])
    want = low * (size_mm2 / areas[below]) ** power
    assert copper.ampacity_30c_a(cable) == pytest.approx(want, rel=1e-9)


@given(st.floats(0.5, 240))
def test_resistance_times_area_lies_between_its_neighbours_in_the_standard(size_mm2):
    table = copper.IEC_60228_FLEXIBLE
    below = max(s for s in table if s <= size_mm2)
    above = min(s for s in table if s >= size_mm2)
    ends = sorted(table[s][0] * s for s in (below, above))
    product = copper.iec_ohm_per_m(size_mm2, False) * 1000 * size_mm2
    assert ends[0] * (1 - 1e-12) <= product <= ends[1] * (1 + 1e-12)


def test_awg_4_0_is_the_handbook_s_copper():
    # NBS Handbook 100: 0.04901 ohm per 1000 ft at 20 °C (from general knowledge).
    per_m = 0.04901 / 304.8
    cable = Cable(name="x", size_awg="4/0", length_m=1)
    assert copper.ohm_per_m_20c(cable) == pytest.approx(1.04 * per_m, rel=3e-4)


@pytest.mark.parametrize("cable", CABLES)
@pytest.mark.parametrize("measured", [False, True])
def test_a_sound_joint_s_prior_is_its_heat_over_its_path(cable, measured):
    j, prior = joints.joint(cable), joints.prior(cable, measured)
    made = 15e-6 * j.ref_a**2 * fin(cable, 0.88, 0.05 + 0.19, 0.0)[0]
    assert prior.rise_k == pytest.approx(0.7 * made, rel=1e-4)
    # Twice over its middle lies the upper end of healthy ones, and a little.
    assert prior.rise_k + 2 * prior.rise_sd_k > made
    assert prior.neighbour_k == pytest.approx(j.from_cable * j.cable_rise_k, rel=1e-12)
    assert joints.highest_healthy_k(cable) > made + j.cable_rise_k


def test_limits_stay_below_the_insulation_s_rating():
    for rating_c in copper.RATINGS_C:
        at_lug = Cable(name="x", size_mm2=50, length_m=1, insulation_rating_c=rating_c)
        along = Cable(
            name="x", size_mm2=50, length_m=1, insulation_rating_c=rating_c, probe_at="cable"
        )
        assert joints.limit_c(at_lug) == min(rating_c - 15, 90)
        assert joints.limit_c(along) == rating_c - 10

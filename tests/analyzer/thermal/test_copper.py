"""Copper against published tables; the figures' sources stand beside them."""

import numpy as np
import pytest

from analyzer.thermal import copper
from logger.boat import Cable
from logger.units import CMIL_MM2, FT

# ASTM B258 formula with 0.017241 ohm mm²/m: diameter mm, mm², cmil, mohm/m. Anchors 36 = 0.0050 in
# and 4/0 = 0.4600 in and 211 600 cmil as published.
AWG = {
    "18": (1.0237, 0.8230, 1624, 20.948),
    "16": (1.2908, 1.3087, 2583, 13.174),
    "14": (1.6277, 2.0809, 4107, 8.2853),
    "10": (2.5882, 5.2612, 10383, 3.2770),
    "8": (3.2636, 8.3656, 16510, 2.0609),
    "6": (4.1154, 13.302, 26251, 1.2961),
    "2": (6.5437, 33.631, 66371, 0.5127),
    "1": (7.3481, 42.408, 83693, 0.4066),
    "1/0": (8.2515, 53.475, 105535, 0.3224),
    "2/0": (9.2658, 67.431, 133077, 0.2557),
    "4/0": (11.684, 107.22, 211600, 0.1608),
}
# IEC 60228, class 5, ohm/km at 20 °C: plain, tinned; two public tables agree.
IEC = {
    1.5: (13.3, 13.7),
    2.5: (7.98, 8.21),
    4: (4.95, 5.09),
    6: (3.30, 3.39),
    10: (1.91, 1.95),
    16: (1.21, 1.24),
    25: (0.780, 0.795),
    50: (0.386, 0.393),
    70: (0.272, 0.277),
    95: (0.206, 0.210),
    150: (0.129, 0.132),
}
# The same, class 1 and 2 plain and class 2 tinned.
IEC_RIGID = {
    1.5: (12.1, 12.2),
    2.5: (7.41, 7.56),
    4: (4.61, 4.70),
    6: (3.08, 3.11),
    10: (1.83, 1.84),
    16: (1.15, 1.16),
    25: (0.727, 0.734),
    50: (0.387, 0.391),
    70: (0.268, 0.270),
    95: (0.193, 0.195),
    150: (0.124, 0.126),
}
# 33 CFR 183.425 Table 5 at 30 °C, by insulation rating: a public copy of the regulation.
RATINGS = (60, 75, 80, 90, 105, 125, 200)
CFR = """
18 10 10 15 20 20 25 25
16 15 15 20 25 25 30 35
14 20 20 25 30 35 40 45
12 25 25 35 40 45 50 55
10 40 40 50 55 60 70 70
8 55 65 70 70 80 90 100
6 80 95 100 100 120 125 135
4 105 125 130 135 160 170 180
3 120 145 150 155 180 195 210
2 140 170 175 180 210 225 240
1 165 195 210 210 245 265 280
1/0 195 230 245 245 285 305 325
2/0 225 265 285 285 330 355 370
3/0 260 310 330 330 385 410 430
4/0 300 360 385 385 445 475 510
"""
# "105 °C in engine space" column of a chandler's copy of the ABYC table.
ENGINE_SPACE_105 = {
    "18": 17, "16": 21, "14": 30, "12": 38, "10": 51, "8": 68, "6": 102, "4": 136, "3": 153,
    "2": 178, "1": 208, "1/0": 242, "2/0": 280, "3/0": 327, "4/0": 378,
}  # fmt: skip


@pytest.mark.parametrize("awg", AWG)
def test_awg_sizes_are_those_of_the_standard(awg):
    diameter, area, cmil, mohm = AWG[awg]
    assert copper.awg_diameter_mm(awg) == pytest.approx(diameter, abs=0.0006)
    assert copper.awg_area_mm2(awg) == pytest.approx(area, rel=1e-4)
    assert copper.awg_area_mm2(awg) / CMIL_MM2 == pytest.approx(cmil, abs=1.0)
    per_m = copper.RHO_20C_OHM_MM2_M / copper.awg_area_mm2(awg) * 1000
    assert per_m == pytest.approx(mohm, abs=1.001e-4 if mohm < 1 else 6e-4)


def test_awg_anchors_and_ratio():
    assert copper.awg_diameter_mm("36") == pytest.approx(0.0050 * 25.4)
    assert copper.awg_diameter_mm("4/0") == pytest.approx(0.4600 * 25.4, rel=1e-9)
    ratio = copper.awg_diameter_mm("9") / copper.awg_diameter_mm("10")
    assert ratio == pytest.approx(1.1229322, abs=1e-7)


@pytest.mark.parametrize("size", IEC)
def test_metric_resistances_are_those_of_the_standard(size):
    for tinned in (False, True):
        cable = Cable(name="x", size_mm2=size, length_m=1, tinned=tinned)
        assert copper.ohm_per_m_20c(cable) * 1000 == pytest.approx(IEC[size][tinned], rel=1e-9)


@pytest.mark.parametrize("size", IEC_RIGID)
def test_coarse_conductors_are_those_of_the_standard(size):
    for tinned in (False, True):
        cable = Cable(name="x", size_mm2=size, length_m=1, tinned=tinned, fine_stranded=False)
        assert copper.ohm_per_m_20c(cable) * 1000 == pytest.approx(
            IEC_RIGID[size][tinned], rel=1e-9
        )


def test_a_nominal_size_holds_less_copper_than_it_says():
    # 50 mm² class 5 may measure 0.386 ohm/km: 44.7 mm² of ideal copper. Nominal area flatters
    # class 5 by 10 to 14 %, tinned by up to 16 %.
    area = copper.RHO_20C_OHM_MM2_M / 0.386e-3
    assert area == pytest.approx(44.7, abs=0.05)
    for size, (plain, tinned) in IEC.items():
        ideal = copper.RHO_20C_OHM_MM2_M / size * 1000
        assert 1.08 < plain / ideal < 1.17
        assert plain < tinned < 1.2 * ideal


@pytest.mark.parametrize("row", CFR.split("\n")[1:-1])
def test_ampacity_is_the_regulation_s(row):
    awg, *amps = row.split()
    for rating, most in zip(RATINGS, amps, strict=True):
        cable = Cable(name="x", size_awg=awg, length_m=1, insulation_rating_c=rating)
        assert copper.ampacity_a(cable) == float(most)


def test_a_bundle_carries_less():
    # 4-6 conductors 0.70, 7-24 0.60, 25 and more 0.50 (from general knowledge).
    for count, factor in ((1, 1), (3, 1), (4, 0.7), (6, 0.7), (7, 0.6), (24, 0.6), (25, 0.5)):
        cable = Cable(name="x", size_awg="2", length_m=1, insulation_rating_c=105,
                      conductors_in_bundle=count)  # fmt: skip
        assert copper.ampacity_a(cable) == pytest.approx(210 * factor)


def test_copper_s_growth_with_temperature_is_within_half_a_per_cent_of_the_printed_table():
    printed = {5: 1.064, 10: 1.042, 30: 0.962, 50: 0.893, 75: 0.820, 90: 0.781, 100: 0.758}
    for temp_c, factor in printed.items():
        assert 1 / copper.at_temp(1.0, temp_c) == pytest.approx(factor, rel=0.006)


def test_voltage_drop_examples():
    # 150 A, 6 m, 50 mm² class 5: 0.347 V at 20 °C, 0.422 V at 75 °C (reference values, 1.3).
    cable = Cable(name="x", size_mm2=50, length_m=6)
    assert copper.ohm_per_m_20c(cable) == pytest.approx(0.386e-3)
    assert copper.drop_v(150, 6, 0.386e-3) == pytest.approx(0.347, abs=5e-4)
    assert copper.drop_v(150, 6, 0.386e-3, 75.0) == pytest.approx(0.422, abs=6e-4)


# Amperes, feet there and back, gauge, volts by ABYC E-11's formula (cmil = 10.75 A ft / V):
# a chandler's pump, and 200 A in 2/0 (reference values, 1.3).
E11 = [(10, 21, "12", 10.75 * 10 * 21 / 6530), (200, 20, "2/0", 0.323)]


@pytest.mark.parametrize(("amps", "feet", "awg", "volts"), E11)
def test_voltage_drop_is_close_to_the_boat_builders_formula(amps, feet, awg, volts):
    # whose resistivity, 0.01787 ohm mm²/m, is that of stranded copper at 20 to 30 °C
    cable = Cable(name="x", size_awg=awg, length_m=1)
    at_20 = copper.drop_v(amps, feet * FT, copper.ohm_per_m_20c(cable))
    at_30 = copper.drop_v(amps, feet * FT, copper.ohm_per_m_20c(cable), 30.0)
    assert at_20 == pytest.approx(volts, rel=0.005)
    assert 1.0 < at_30 / volts < 1.05


@pytest.mark.parametrize("awg", ENGINE_SPACE_105)
def test_engine_space_ampacity_is_the_printed_one(awg):
    cable = Cable(name="x", size_awg=awg, length_m=1, insulation_rating_c=105, in_engine_space=True)
    assert copper.ampacity_a(cable) == pytest.approx(ENGINE_SPACE_105[awg], abs=0.51)


def test_ambient_factor_agrees_with_the_published_ones():
    # Heat balance against the published factors at 50 °C; the note allows 0.01.
    for rating, factor in copper.ENGINE_SPACE_FACTOR.items():
        assert copper.ambient_factor(rating, 49.999) == pytest.approx(factor, abs=0.011)
    assert copper.ambient_factor(90, 10) == 1.0
    assert copper.ambient_factor(90, 95) == 0.0


def test_settled_rise_examples():
    # 105 °C cable rated at 30 °C: 15.46 K at half the rating, 37.53 K at three quarters, 75 K at
    # all of it; 16.63 K at half in 50 °C (calculated from the tagged formula).
    for share, rise in ((0.5, 15.46), (0.75, 37.53), (1.0, 75.0)):
        assert copper.settled_rise_k(210 * share, 30, 210, 105) == pytest.approx(rise, abs=0.005)
    assert copper.settled_rise_k(105, 50, 210, 105) == pytest.approx(16.63, abs=0.005)
    both = copper.settled_rise_k(np.array([105.0, 1e4]), 30, 210, 105)
    assert both[0] == pytest.approx(15.46, abs=0.005)
    assert np.isinf(both[1])  # it runs away


def test_metric_ampacity_lies_between_its_neighbours():
    between = Cable(name="x", size_mm2=50, length_m=1, insulation_rating_c=105)
    assert 245 < copper.ampacity_a(between) < 285  # 1 AWG 42.4 mm², 1/0 53.5 mm²

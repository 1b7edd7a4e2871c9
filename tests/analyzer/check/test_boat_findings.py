"""What the boat file alone tells. Ampacities are those of 33 CFR 183.425 Table 5 (30 °C)."""

from typing import Any

import pytest

from analyzer.check import boat_findings
from logger.boat import Boat, from_table

TABLE: dict[str, Any] = {
    "name": "Test boat",
    "hull": {
        "waterline_m": 7.2,
        "beam_waterline_m": 2.3,
        "draught_m": 1.3,
        "displacement_kg": 2600,
    },
    "pack": {"chemistry": "lfp", "cells_in_series": 16, "rated_capacity_ah": 100},
    "motor": {"rated_power_w": 5000, "max_current_a": 150},
}


def boat(cable: dict[str, Any] | None = None, **parts: dict[str, Any]) -> Boat:
    table = {**TABLE, **{k: {**TABLE.get(k, {}), **v} for k, v in parts.items()}}
    cables = [{"name": "positive", "length_m": 2, **cable}] if cable else []
    return from_table({**table, "cable": cables}, "boat.toml")


def kinds(of: Boat) -> list[str]:
    return [f.kind for f in boat_findings.findings(of)]


@pytest.mark.parametrize(
    ("cable", "expected"),
    [
        # size 2, 90 °C: 180 A; size 4, 90 °C: 135 A; size 2 in the engine space 180 x 0.82 = 148 A
        ({"size_awg": "2"}, []),
        ({"size_awg": "4"}, ["over_ampacity"]),
        ({"size_awg": "2", "in_engine_space": True}, ["over_ampacity"]),
        ({"size_awg": "2", "fuse_a": 175}, []),
        ({"size_awg": "2", "fuse_a": 250}, ["fuse_too_large"]),
        ({"size_awg": "2", "fuse_a": 100}, ["fuse_too_small"]),
        ({"size_awg": "10", "fuse_a": 40, "current_channel": "other_pump_current_a"}, []),
        ({"size_awg": "10", "fuse_a": 90, "current_channel": "other_pump_a"}, ["fuse_too_large"]),
    ],
)
def test_findings_about_cables_and_fuses(cable: dict[str, Any], expected: list[str]):
    assert kinds(boat(cable)) == expected


@pytest.mark.parametrize(
    ("cable", "expected"),
    [
        # at 30 °C class 5 has 1.21 x 1.039 mohm/m: 150 A over 10 m lose 1.89 V of 53, 3.6 %
        ({"size_mm2": 16.0, "length_m": 10, "insulation_rating_c": 200}, ["voltage_drop"]),
        # over 8 m 1.51 V, 2.8 %
        ({"size_mm2": 16.0, "length_m": 8, "insulation_rating_c": 200}, []),
        # at 50 °C 1.62 V, 3.1 %
        (
            {"size_mm2": 16.0, "length_m": 8, "insulation_rating_c": 200, "in_engine_space": True},
            ["over_ampacity", "voltage_drop"],
        ),
        ({"size_mm2": 16.0, "length_m": 90, "current_channel": "other_pump_current_a"}, []),
    ],
)
def test_findings_about_lost_voltage(cable: dict[str, Any], expected: list[str]):
    assert kinds(boat(cable)) == expected


def test_lost_voltage_is_said_in_volts():
    (found,) = boat_findings.findings(boat({"size_mm2": 16.0, "length_m": 10,
                                        "insulation_rating_c": 200}))  # fmt: skip
    assert found.size.mid == pytest.approx(150 * 10 * 1.21e-3 * 1.0393, rel=1e-3)
    assert "1.9 of 53 V" in found.text


def test_full_power_from_rated_power_lies_between_full_and_empty_pack():
    # 5000 W at 16 x 3.4 V = 54.4 V and no losses: 92 A; at 16 x 2.5 V = 40 V with 85 %: 147 A
    full = boat_findings.full_power(boat(motor={"max_current_a": 1e4}))
    assert full.low == full.high == 1e4
    table = {**TABLE, "motor": {"rated_power_w": 5000}}
    full = boat_findings.full_power(from_table(table, "boat.toml"))
    assert 90 < full.low < full.mid < full.high < 147


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({"pack": {"max_discharge_a": 200}}, []),
        ({"pack": {"max_discharge_a": 100}}, ["over_discharge_limit"]),
        # 600 W at about 53 V is 11 A
        ({"pack": {"max_charge_a": 50}, "solar": {"peak_w": 600}}, []),
        ({"pack": {"max_charge_a": 5}, "solar": {"peak_w": 600}}, ["over_charge_limit"]),
        # 20 % of LFP rests near 3.25 V a cell, 52 V for 16 (reference values, 2.2)
        ({"motor": {"cutback_v": 48}}, []),
        ({"motor": {"cutback_v": 53}}, ["cutback_above_reserve"]),
        # 20 W is 480 Wh a day
        ({"hotel": {"power_w": 20}}, ["use_above_sun"]),
        ({"hotel": {"power_w": 20}, "solar": {"peak_w": 300}}, []),
    ],
)
def test_findings_about_pack_controller_and_sun(parts: dict[str, Any], expected: list[str]):
    assert kinds(boat(**parts)) == expected


def test_use_above_sun_counts_the_days():
    # 100 Ah x about 52.9 V x 80 % = 4232 Wh over 480 Wh a day: 8.8 days
    (finding,) = boat_findings.findings(boat(hotel={"power_w": 20}))
    assert finding.size.mid == pytest.approx(8.8 * 86400, rel=0.02)


def test_panels_lengthen_the_days_from_a_poor_sun_s_to_a_good_one_s():
    """80 W for 1.5, 3 and 5 hours of full sun, as the module says of summer days, bring 120, 240
    and 400 of the 480 Wh that are used; 4,232 Wh last as long as the difference can be paid."""
    (found,) = boat_findings.findings(boat(hotel={"power_w": 20}, solar={"peak_w": 80}))
    for days, short_wh in ((found.size.low, 360), (found.size.mid, 240), (found.size.high, 80)):
        assert days / 86400 == pytest.approx(4232 / short_wh, rel=0.02)
    (found,) = boat_findings.findings(boat(hotel={"power_w": 20}, solar={"peak_w": 100}))
    assert found.size.high is None  # 500 Wh on a good day: it never runs down
    assert found.size.low / 86400 == pytest.approx(4232 / 330, rel=0.02)

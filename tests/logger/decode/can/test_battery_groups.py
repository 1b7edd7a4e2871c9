"""A compass's deviation, SAE J1939's storage groups, and temperatures that no sensor says."""

import pytest

from logger.decode.can.bus import from_options
from logger.decode.can.pgn_channels import PgnNames
from logger.decode.counters import Counters
from logger.errors import BoatFileError
from tests.logger.decode.can.test_pgn import decode

STEP_DEG = 0.0057296  # 1e-4 rad, the group's own step


@pytest.mark.parametrize(
    ("reading", "deviation", "magnetic_deg"),
    [
        # by hand: 0.9 rad and +0.1 rad are 1 rad; 6.2 rad and +0.15 are 6.35 - 2 pi
        ("2823", "e803", 57.29578),
        ("30f2", "dc05", 3.82817),
        ("e803", "30f8", 354.27042),  # 0.1 rad and -0.2 rad: -0.1 rad
        ("2823", "ff7f", 51.56620),  # no deviation is sent
    ],
)
def test_deviation_is_in_the_magnetic_heading(reading, deviation, magnetic_deg):
    values = decode(127250, f"00{reading}{deviation}ff7f01")
    assert values["heading_magnetic_deg"] == pytest.approx(magnetic_deg, abs=STEP_DEG / 2)


def test_a_true_heading_keeps_what_its_sensor_says():
    assert decode(127250, "002823e803ff7f00")["heading_true_deg"] == pytest.approx(51.56620)


# Raw numbers by hand from public tables of the groups: 0.05 kW, 0.05 V and A from -1600 A, 1/640 %
# and 1 mV, 1/32 degC from -273.
D1 = "e803d007" + "0004" + "d07d"


def test_storage_system_of_a_vehicle_bus():
    values = decode(61584, D1)
    assert values == {
        "other_hvess_discharge_limit_w": 50_000.0,
        "other_hvess_charge_limit_w": 100_000.0,
        "pack_voltage_v": 51.2,
        "other_hvess_current_a": pytest.approx(10.4),
    }
    assert decode(61585, "007dac0d000df1ff") == {
        "pack_soc_frac": 0.5,
        "other_hvess_cells_highest_v": 3.5,
        "other_hvess_cells_lowest_v": 3.328,
        "other_hvess_cells_difference_count": 1.0,
    }
    assert decode(61586, "4025c0242025ffff") == {
        "other_hvess_temps_highest_c": 25.0,
        "other_hvess_temps_lowest_c": 21.0,
        "pack_temp_c": 24.0,
    }


@pytest.mark.parametrize("sign", [1, -1])
def test_its_current_is_the_packs_once_its_sense_is_told(sign):
    values = decode(61584, D1, PgnNames(hvess_sign=sign))
    assert values["pack_current_a"] == pytest.approx(sign * 10.4)


def test_what_the_vehicle_bus_keeps_free_is_no_measurement():
    assert decode(61584, "fffffffffffbfffe") == {}


def test_a_sense_that_is_none_is_a_sentence(tmp_path):
    with pytest.raises(BoatFileError, match="hvess_sign: wants 1 or -1, got 2"):
        from_options("can0", {"hvess_sign": 2}, tmp_path, Counters("can0"))


@pytest.mark.parametrize(
    ("pgn", "text"),
    [
        (130312, "00010300000000ff"),  # 0 K, what a device without a probe sends
        (127508, "01b605ff7f0000ff"),  # the same of a battery that is not the pack
        (61586, "000000000000ffff"),
    ],
)
def test_no_sensor_is_no_temperature(pgn, text):
    assert not [name for name in decode(pgn, text) if name.endswith("_c")]

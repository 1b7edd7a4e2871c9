"""Sensors of a /sys tree made here. File layouts: the kernel's ABI documents for w1, iio, hwmon."""

from pathlib import Path

import pytest

from logger.decode.counters import Counters
from logger.errors import BoatFileError, SourceError
from logger.reading import Row
from logger.sources.board_sensors import open_source
from logger.sources.options import Options


def put(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    w1 = tmp_path / "bus/w1/devices/28-0316a2794eff"
    put(w1 / "w1_slave", "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 t=23125\n")
    put(tmp_path / "bus/w1/devices/28-2/temperature", "-1250\n")
    adc = tmp_path / "bus/iio/devices/iio:device0"
    put(adc / "name", "ads1115\n")
    put(adc / "in_voltage0_raw", "12800\n")
    put(adc / "in_voltage0_scale", "0.250000000\n")
    put(adc / "in_voltage1_raw", "-400\n")
    put(adc / "in_voltage_scale", "0.125\n")
    put(adc / "in_voltage1_offset", "-16\n")
    put(tmp_path / "class/hwmon/hwmon3/name", "cpu_thermal\n")
    put(tmp_path / "class/hwmon/hwmon3/temp1_input", "48300\n")
    return tmp_path


def read(root: Path, *probes: dict[str, object]) -> tuple[dict[str, float | None], Counters]:
    counters = Counters("board")
    table = {"root": str(root), "probe": list(probes)}
    source = open_source(Options("board", table, Path()), counters, None)
    rows = [row for row in source.read(0.1) or [] if isinstance(row, Row)]
    return {row.group.channels[0]: row.values[0] for row in rows}, counters


def test_all_kinds(root: Path):
    got, _ = read(
        root,
        {"w1": "28-0316a2794eff", "channel": "probe_motor_lug_temp_c"},
        {"w1": "28-2", "channel": "ambient_temp_c", "offset": 0.25},
        # 12800 x 0.25 mV behind a divider of 16: 51.2 V.
        {"iio": "ads1115", "input": "in_voltage0", "factor": 16.0, "channel": "pack_voltage_v"},
        # (-400 - 16) x 0.125 mV = -52 mV over 0.5 mΩ, counting charge: 104 A given.
        {"iio": "iio:device0", "input": "in_voltage1", "factor": 2000.0, "unit": "mA",
         "channel": "pack_current_a", "sign": -1},
        {"hwmon": "cpu_thermal", "input": "temp1", "channel": "other_board_temp_c"},
    )  # fmt: skip
    assert got == {
        "probe_motor_lug_temp_c": 23.125,
        "ambient_temp_c": -1.0,
        "pack_voltage_v": pytest.approx(51.2, rel=1e-12),
        "pack_current_a": pytest.approx(104.0, rel=1e-12),
        "other_board_temp_c": pytest.approx(48.3, rel=1e-12),
    }


def test_bad_check_sum_and_power_on_value_are_missing(root: Path):
    w1 = root / "bus/w1/devices/28-0316a2794eff/w1_slave"
    probe = {"w1": "28-0316a2794eff", "channel": "probe_motor_lug_temp_c"}
    for text in ("00 : crc=57 NO\n00 t=23125\n", "00 : crc=57 YES\n00 t=85000\n"):
        w1.write_text(text)
        got, counters = read(root, probe)
        assert got == {}
        assert counters["missing"] == 1


def test_probe_that_went_away_is_counted_and_the_others_go_on(root: Path):
    got, counters = read(
        root,
        {"w1": "28-9", "channel": "probe_motor_lug_temp_c"},
        {"w1": "28-2", "channel": "ambient_temp_c"},
    )
    assert got == {"ambient_temp_c": -1.25}
    assert counters["lost"] == 1


def test_garbage_and_impossible_values_are_counted(root: Path):
    put(root / "bus/w1/devices/28-3/temperature", "warm\n")
    put(root / "bus/w1/devices/28-4/temperature", "999000\n")
    got, counters = read(
        root,
        {"w1": "28-3", "channel": "ambient_temp_c"},
        {"w1": "28-4", "channel": "water_temp_c"},
    )
    assert got == {}
    assert counters.errors() == {"lost": 1, "out_of_limits": 1}


def test_period_is_kept(root: Path):
    table = {"root": str(root), "period_s": 0.1,
             "probe": [{"w1": "28-2", "channel": "ambient_temp_c"}]}  # fmt: skip
    source = open_source(Options("board", table, Path()), Counters("x"), None)
    times = [row.t_us for _ in range(8) for row in source.read(0.05) or [] if isinstance(row, Row)]
    assert 3 <= len(times) <= 6
    source.close()


@pytest.mark.parametrize(
    ("probe", "text"),
    [
        ({"channel": "ambient_temp_c"}, "exactly one of w1, iio and hwmon"),
        ({"w1": "28-2", "channel": "warmth"}, "wants the name of a channel"),
        ({"w1": "28-2", "channel": "pack_voltage_v"}, "wants a unit that fits"),
        ({"hwmon": "cpu_thermal", "input": "fan1", "channel": "ambient_temp_c"}, "one of temp"),
        ({"w1": "28-2", "channel": "ambient_temp_c", "gain": 2}, "got 'gain'"),
    ],
)
def test_wrong_probes_are_named(root: Path, probe: dict[str, object], text: str):
    with pytest.raises(BoatFileError, match=text):
        read(root, probe)


def test_device_that_is_not_there_is_said(root: Path):
    with pytest.raises(SourceError, match="no device 'mcp3008'"):
        read(root, {"iio": "mcp3008", "input": "in_voltage0", "channel": "pack_voltage_v"})

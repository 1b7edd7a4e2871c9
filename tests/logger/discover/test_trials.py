"""A way in put together by choosing, and tried: lines of text, a bus with a DBC file."""

import re

import pytest

from logger.discover.names import line_names, line_pattern
from logger.discover.trials import Trials
from logger.errors import BoatFileError, SourceError
from tests.support.ports import speaking_port

LINES = b"V\t53100\r\nI\t-12300\r\nSOC\t87.5\r\n"
DBC = """VERSION ""
BO_ 256 BatteryStatus: 8 Monitor
 SG_ PackVoltage : 0|16@1+ (0.01,0) [0|655] "V" Vector__XXX
 SG_ PackCurrent : 16|16@1- (0.1,0) [-3000|3000] "A" Vector__XXX
 SG_ CellCount : 32|8@1+ (1,0) [0|255] "" Vector__XXX
BO_ 257 DriveStatus: 8 Drive
 SG_ MotorTemp : 0|8@1+ (1,-40) [-40|215] "degC" Vector__XXX
"""


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("V=53.10 A=-2.4", {"V": 53.1, "A": -2.4}),
        ("Volts: 53.1 V, Amps: 2 A", {"Volts": 53.1, "Amps": 2.0}),
        ("SOC\t87.5", {"SOC": 87.5}),
        ("$IIVHW,,T,213.0,M", {}),
    ],
)
def test_names_and_values_are_read_from_lines_and_found_again(line, found):
    names = line_names([line])
    assert {n.name: n.value for n in names} == found
    match = re.search(line_pattern([n.name for n in names]), line)
    assert [float(v) for v in match.groups()] == list(found.values())


def test_a_name_is_not_found_inside_another():
    match = re.search(line_pattern(["V", "PV"]), "PV=12 V=53")
    assert match.groups() == ("53", "12")


def test_lines_become_a_way_in_that_records_what_was_chosen(tmp_path):
    with speaking_port(LINES) as (port, _):
        trials = Trials(tmp_path, 0.4)
        slots = {slot.channel: slot for slot in trials.slots(port, "text:19200")}
        # 53100 V and -12300 A are beyond what a boat has: only the thousandths are offered.
        volts = [choice for choice in slots["pack_voltage_v"].choices if choice[0][:2] == "V|"]
        assert volts == [("V|mV", "V, as mV: 53.1 V")]
        assert slots["pack_voltage_v"].likely == "V|mV"
        assert slots["pack_current_a"].likely == "I|mA"
        assert slots["pack_soc_frac"].likely == "SOC|%"
        signals = {
            "V": {"channel": "pack_voltage_v", "unit": "mV"},
            "I": {"channel": "pack_current_a", "unit": "mA", "sign": -1},
            "SOC": {"channel": "pack_soc_frac", "unit": "%"},
        }
        options = trials.way_in(port, "text:19200", signals)
        told = {one.text: (one.value, one.unit) for one in trials.told("text", options)}
    # 53100 mV, -12300 mA counted the other way round, 87.5 %
    assert told == {
        "voltage at the pack's terminals": (53.1, "V"),
        "pack current, positive when it gives": (12.3, "A"),
        "state of charge as a device on board reports it": (0.875, "frac"),
    }


def test_a_dbc_file_s_signals_are_offered_where_their_units_fit(tmp_path):
    (tmp_path / "monitor.dbc").write_text(DBC)
    trials = Trials(tmp_path, 0.2)
    assert trials.files() == ("monitor.dbc",)
    slots = {slot.channel: slot for slot in trials.slots("no_such_bus", "can:dbc:monitor.dbc")}
    assert slots["pack_voltage_v"].likely == "BatteryStatus.PackVoltage|V"
    assert slots["pack_current_a"].likely == "BatteryStatus.PackCurrent|A"
    assert slots["motor_temp_c"].likely == "DriveStatus.MotorTemp|degC"
    assert [value for value, _ in slots["motor_temp_c"].choices] == ["DriveStatus.MotorTemp|degC"]
    assert "pack_soc_frac" not in slots


def test_what_cannot_be_tried_is_said(tmp_path):
    trials = Trials(tmp_path, 0.2)
    with pytest.raises(SourceError):
        trials.slots("/dev/no_such_port", "text:9600")
    with pytest.raises(BoatFileError):
        trials.slots("can0", "can:dbc:no_such_file.dbc")

"""A CANopen battery by CiA 418: its standard objects without a word in the boat file."""

import pytest

from logger.decode.can.canopen_node import CanopenDecoder
from logger.decode.counters import Counters
from tests.logger.sources.test_canopen import record, variable

NODE = 7


def eds(profile: int) -> str:
    return (
        "[FileInfo]\nFileName=pack.eds\nFileVersion=1\nFileRevision=1\nEDSVersion=4.0\n\n"
        "[DeviceInfo]\nVendorName=Invented\nProductName=Invented pack\nNrOfTXPDO=2\n\n"
        "[MandatoryObjects]\nSupportedObjects=2\n1=0x1000\n2=0x1001\n\n"
        + variable("1000", "Device type", "0x7", str(profile), 0)
        + variable("1001", "Error register", "0x5", "0", 0)
        + "[OptionalObjects]\nSupportedObjects=9\n1=0x1800\n2=0x1801\n3=0x1A00\n4=0x1A01\n"
        "5=0x6010\n6=0x6060\n7=0x6070\n8=0x6081\n9=0x6041\n\n"
        + "".join(
            record(f"180{k}", "Setting", [("Highest", "0x5", "2"),
                                          ("COB-ID", "0x7", f"$NODEID+{0x180 + 0x100 * k:#x}"),
                                          ("Type", "0x5", "255")])
            for k in range(2)
        )
        + record("1A00", "Mapping", [("Number", "0x5", "2"), ("1", "0x7", "0x60600020"),
                                     ("2", "0x7", "0x60100010")])
        + record("1A01", "Mapping", [("Number", "0x5", "3"), ("1", "0x7", "0x60700010"),
                                     ("2", "0x7", "0x60810008"), ("3", "0x7", "0x60410010")])
        + variable("6010", "Temperature", "0x3")
        + variable("6060", "Battery voltage", "0x7")
        + variable("6070", "Charge current requested", "0x6")
        + variable("6081", "Battery state of charge", "0x5")
        + variable("6041", "Status word", "0x6")
    )  # fmt: skip


def decoded(tmp_path, profile, can_id, text):
    path = tmp_path / "pack.eds"
    path.write_text(eds(profile))
    handler = CanopenDecoder(path, NODE, "can0", Counters("can0")).handler(can_id)
    assert handler
    (row,) = handler.row(1, bytes.fromhex(text))
    return dict(zip(row.group.channels, row.values, strict=True))


def test_a_battery_module_fills_the_pack_s_channels(tmp_path):
    # by hand: 52 V is 53,248 steps of 1/1024 V, 24.5 degC are 196 steps of 1/8
    assert decoded(tmp_path, 418, 0x187, "00d00000c400") == {
        "pack_voltage_v": 52.0,
        "pack_temp_c": 24.5,
    }
    # 20 A are 320 steps of 1/16 A
    assert decoded(tmp_path, 418, 0x287, "4001573702") == {
        "other_canopen_7_charge_current_wanted_a": 20.0,
        "pack_soc_frac": pytest.approx(0.87),
        "other_canopen_7_status_word_code": 0x0237,
    }


def test_what_follows_another_profile_is_not_taken_for_a_battery(tmp_path):
    assert set(decoded(tmp_path, 402, 0x187, "00d00000c400")) == {
        "other_canopen_7_battery_voltage_count",
        "other_canopen_7_temperature_count",
    }

"""Sentences that go out, read back by pynmea2 and by the standard's own rule for the checksum."""

import functools
import operator

import pynmea2
import pytest

from analyzer.flags import nmea_out
from logger.boat import parse
from tests.support.flag_records import flag_record
from tests.support.small_boat import GOOD

FLAG = flag_record(
    number=7,
    key="joint/positive",
    level="act now",
    subject="lug of positive",
    kind="lug_hot",
    title="Lug of positive is near the heat it can bear, 0.5 mΩ too much, and a very long tail",
)


def test_checksum_is_that_of_a_worked_sentence():
    # A sentence of the open logs of buses on board: $IIMWV,037.0,R,10.5,N,A*0B was computed here
    # with the standard's rule by another library.
    line = nmea_out.sentence("IIMWV,037.0,R,10.5,N,A")
    inner = line[1 : line.index("*")]
    assert int(line[-4:-2], 16) == functools.reduce(operator.xor, map(ord, inner))
    assert pynmea2.parse(line.strip(), check=True).sentence_type == "MWV"


@pytest.mark.parametrize(("cleared", "seen"), [(None, None), (5, None), (None, 3)])
def test_alert_is_a_whole_sentence_of_legal_length(cleared, seen):
    from dataclasses import replace

    line = nmea_out.alert(replace(FLAG, cleared_us=cleared, seen_us=seen), 1007, 1_700_000_000.25)
    assert len(line) <= nmea_out.LONGEST
    inner = line[1 : line.index("*")]
    assert int(line[-4:-2], 16) == functools.reduce(operator.xor, map(ord, inner))
    assert inner.startswith("IIALR,")
    time, number, condition, acknowledged, text = line[1 : line.index("*")].split(",")[1:]
    assert time == "221320.25"  # 1 700 000 000 s is 2023-11-14 22:13:20 UTC
    assert number == "007"
    assert condition == ("V" if cleared else "A")
    assert acknowledged == ("A" if seen else "V")
    assert text.startswith("ACT NOW: Lug of positive")


def test_figures_read_back_by_another_library():
    values = {"pack_voltage_v": 52.345, "pack_current_a": 61.25, "charge_frac": 0.5527,
              "power_w": 3206.1, "range_nmi": 3.86, "motor_temp_c": float("nan")}  # fmt: skip
    lines = nmea_out.figures(values, {"battery_positive": 23.44, "gone": float("nan")})
    got = {}
    for line in lines:
        assert len(line) <= nmea_out.LONGEST
        data = pynmea2.parse(line.strip(), check=True).data
        for k in range(0, len(data), 4):
            got[data[k + 3], data[k]] = (float(data[k + 1]), data[k + 2])
    assert got == {
        ("PACK", "U"): (52.34, "V"),
        ("PACK", "I"): (61.2, "A"),
        ("CHARGE", "G"): (0.553, ""),
        ("POWER_W", "G"): (3206.0, ""),
        ("RANGE_NMI", "G"): (3.9, ""),
        ("BATTERY_POSITIVE", "C"): (23.4, "C"),
    }


def test_shaft_speed_reads_back_in_turns_per_minute():
    (line,) = nmea_out.revolutions(12.5)
    read = pynmea2.parse(line.strip(), check=True)
    assert (read.sentence_type, read.source, float(read.speed)) == ("RPM", "S", 750.0)
    assert read.status == "A"
    assert nmea_out.revolutions(float("nan")) == []


def test_nothing_known_is_no_sentence():
    assert nmea_out.figures({}) == []


def test_reserved_characters_do_not_get_out():
    assert set("$!*,\\^~\r\n").isdisjoint(nmea_out.plain("a$b!c*d,e\\f^g~h\r\ni"))


def test_what_goes_out_is_told_by_its_names():
    said = nmea_out.told(parse(GOOD, "boat.toml"), 2.0, 30.0).replace(",", " ").split()
    sent = nmea_out.figures(dict.fromkeys(nmea_out.XDR, 1.0))
    # the fourth field of each transducer is its name: NMEA 0183
    for line in map(pynmea2.parse, sent):
        assert {line.data[k] for k in range(3, len(line.data), 4)} <= set(said)
    assert {"ALR", "RPM", "XDR", "30"} <= set(said)

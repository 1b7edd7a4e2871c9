"""NMEA 0183: every worked sentence of the reference values, and what must be refused."""

import math

import pynmea2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.channels import find
from logger.decode.counters import Counters
from logger.decode.nmea.sentence_time import SentenceClock
from logger.decode.nmea.sentences import SentenceDecoder, looks_like_sentence
from logger.errors import BoatFileError
from logger.reading import Row, UtcFix


def checksum(body: str) -> int:
    total = 0
    for char in body:
        total ^= ord(char)
    return total


def sentence(body: str) -> str:
    return f"${body}*{checksum(body):02X}"


def decode(line: str, transducers: dict[str, str] | None = None) -> dict[str, float | None]:
    decoder = SentenceDecoder("gps", Counters("gps"), transducers)
    rows = [item for item in decoder.feed(line, 5) if isinstance(item, Row)]
    return {n: v for row in rows for n, v in zip(row.group.channels, row.values, strict=True)}


KN = 1852 / 3600  # m/s
KINDS = [
    "GPRMC", "GPGGA", "GPGLL", "GPVTG", "IIVHW", "IIHDG", "IIMTW", "IIDPT",
    "IIMWV", "IIRPM", "IIXDR", "GPZDA", "IIDBT", "IIMWD", "IIVLW", "HETHS", "WIMTA", "WIMDA",
]  # fmt: skip

# Reference values 4.1; sources named there.


def test_rmc():
    line = "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68"
    values = decode(line)
    assert values == {
        "latitude_deg": pytest.approx(49.274166667, abs=1e-9),
        "longitude_deg": pytest.approx(-123.185333333, abs=1e-9),
        "speed_ground_mps": pytest.approx(0.5 * KN),
        "course_ground_deg": 54.7,
        "variation_deg": 20.3,
    }
    fix = SentenceDecoder("gps", Counters("gps")).feed(line, 5)[0]
    # 1994-11-19 22:54:46 UTC = 785 285 686 s after 1970 (days 9088, 82 486 s).
    assert fix == UtcFix(5, (9088 * 86400 + 82486) * 1_000_000, "gnss", 0.5)


def test_log_over_the_ground_too():
    # by hand: 7803.2 and 12.1 nmi through the water, 7801 and 11.9 over the ground, 1852 m each
    values = decode(sentence("VWVLW,7803.2,N,12.1,N,7801.0,N,11.9,N"))
    assert values == {
        "other_log_total_m": pytest.approx(7803.2 * 1852),
        "other_log_trip_m": pytest.approx(12.1 * 1852),
        "other_log_ground_total_m": pytest.approx(7801 * 1852),
        "other_log_ground_trip_m": pytest.approx(11.9 * 1852),
    }
    assert len(decode(sentence("VWVLW,7803.2,N,12.1,N"))) == 2


def test_heading_with_its_sensor_s_state():
    # fields: heading true, mode (A autonomous, V void); from memory of the published list
    assert decode(sentence("HETHS,287.3,A")) == {"heading_true_deg": 287.3}
    assert decode(sentence("HETHS,287.3,V")) == {}


def test_weather_sentences():
    assert decode(sentence("WIMTA,21.4,C")) == {"other_air_temp_c": 21.4}
    # order of fields as pynmea2's own class MDA has them
    body = "WIMDA,29.92,I,1.013,B,21.4,C,15.2,C,,,,C,240.0,T,245.0,M,12.0,N,6.2,M"
    parsed = pynmea2.parse(sentence(body))
    assert decode(sentence(body)) == {
        "other_air_pressure_pa": pytest.approx(float(parsed.b_pressure_bar) * 1e5),
        "other_air_temp_c": float(parsed.air_temp),
        "water_temp_c": float(parsed.water_temp),
        "wind_direction_true_deg": float(parsed.direction_true),
        "wind_speed_true_mps": pytest.approx(float(parsed.wind_speed_knots) * KN),
    }


def test_gll():
    values = decode("$GPGLL,4916.45,N,12311.12,W,225444,A,*1D")
    assert values["latitude_deg"] == pytest.approx(49.274166667, abs=1e-9)
    assert values["longitude_deg"] == pytest.approx(-123.185333333, abs=1e-9)


def test_vtg_empty_fields_give_none():
    values = decode("$GPVTG,,T,,M,0.00,N*1B")
    assert values == {
        "course_ground_deg": None,
        "other_course_ground_magnetic_deg": None,
        "speed_ground_mps": 0.0,
    }


def test_gga():
    values = decode("$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D")
    assert values["latitude_deg"] == pytest.approx(-19.4840833, abs=1e-7)
    assert values["longitude_deg"] == pytest.approx(24.1751, abs=1e-7)
    assert values["altitude_m"] == 100.0


def test_xdr_groups():
    line = "$YXXDR,A,-64.437,M,N,A,054.454,D,E,C,17.09,C,T-N1052*46"
    values = decode(line, {"T-N1052": "probe_motor_lug_temp_c"})
    assert values == {
        "other_xdr_n_count": -64.437,  # an angle in "M" has no unit known here
        "other_xdr_e_deg": 54.454,
        "probe_motor_lug_temp_c": 17.09,
    }


def test_mwv():
    values = decode("$IIMWV,271.0,R,000.2,N,A*3B")
    assert values["wind_angle_apparent_deg"] == 271.0
    assert values["wind_speed_apparent_mps"] == pytest.approx(0.2 * KN)


def test_vtg():
    values = decode("$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K*48")
    assert values["course_ground_deg"] == 54.7
    assert values["speed_ground_mps"] == pytest.approx(5.5 * KN)


def test_vhw():
    values = decode("$IIVHW,,T,213.0,M,5.0,N,9.3,K*74")
    assert values["speed_water_mps"] == pytest.approx(5.0 * KN)
    assert values["heading_magnetic_deg"] == 213.0
    assert values["heading_true_deg"] is None


def test_hdg():
    values = decode("$HCHDG,98.3,0.0,E,12.6,W*57")
    assert values == {"heading_magnetic_deg": 98.3, "variation_deg": -12.6}


def test_rpm():
    assert decode("$IIRPM,S,1,1250.0,,A*58") == {"shaft_speed_rps": pytest.approx(1250 / 60)}


def test_modbus_like_garbage_is_no_sentence():
    assert not looks_like_sentence(b"\x11\x03\x00\x7c\x00\x02\x07\x43")


# Refusals.


def counted(line: str) -> dict[str, int]:
    counters = Counters("gps")
    items = SentenceDecoder("gps", counters).feed(line, 5)
    assert not [item for item in items if isinstance(item, Row)]
    return counters.errors()


def test_wrong_checksum_is_refused():
    assert counted("$IIRPM,S,1,1250.0,,A*59") == {"checksum": 1}


def test_missing_checksum_is_refused():
    assert counted("$IIRPM,S,1,1250.0,,A") == {"checksum": 1}


def test_void_fix_gives_nothing():
    assert counted(sentence("GPRMC,225446,V,4916.45,N,12311.12,W,0.5,54.7,191194,,")) == {"void": 1}
    assert counted(sentence("GPGGA,225446,4916.45,N,12311.12,W,0,00,,,M,,M,,")) == {"void": 1}


@pytest.mark.parametrize(
    "body",
    [
        "IIRPM,S,1,fast,,A",
        "IIRPM,X,1,100,,A",
        "GPGLL,4976.45,N,12311.12,W,225444,A,",
        "GPRMC,256446,A,4916.45,N,12311.12,W,0.5,54.7,191194,,",
        "GPRMC,225446,A,4916.45,N,12311.12,W,0.5,54.7,311194,,",
        "IIMTW,20.0,R",
        "GPRMC,225446",
    ],
)
def test_right_checksum_around_nonsense_is_refused(body: str):
    assert counted(sentence(body)) == {"syntax": 1}


def test_value_beyond_limits_is_none_and_counted():
    counters = Counters("log")
    decoder = SentenceDecoder("log", counters)
    assert decoder.feed(sentence("IIMTW,85.0,C"), 1) == []
    assert counters["out_of_limits"] == 1


def test_unknown_sentence_is_counted():
    assert counted(sentence("GPGSV,1,1,00")) == {"unknown_sentence": 1}


def test_wrong_transducer_channel_names_it():
    with pytest.raises(BoatFileError, match="xdr, T1: wants the name of a channel"):
        SentenceDecoder("x", Counters("x"), {"T1": "motor_lug"})


def test_kinds_of_group_are_bounded():
    counters = Counters("x")
    decoder = SentenceDecoder("x", counters)
    for number in range(1000):
        decoder.feed(sentence(f"IIXDR,C,20.0,C,P{number}"), number)
    assert counters["too_many_kinds"] == 700


@settings(max_examples=500, deadline=None)
@given(
    body=st.one_of(
        st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=80),
        st.tuples(
            st.sampled_from(KINDS),
            st.lists(
                st.one_of(
                    st.sampled_from(["A", "V", "N", "S", "E", "W", "R", "T", "C", "", "1"]),
                    st.floats().map(str),
                    st.integers(0, 99999999).map(str),
                ),
                max_size=16,
            ),
        ).map(lambda pair: ",".join([pair[0], *pair[1]])),
    )
)
def test_arbitrary_sentences_never_raise_nor_pass_limits(body: str):
    decoder = SentenceDecoder("x", Counters("x"))
    for item in decoder.feed(sentence(body), 1):
        if isinstance(item, Row):
            for name, value in zip(item.group.channels, item.values, strict=True):
                channel = find(name)
                assert channel
                if value is not None:
                    assert channel.low <= value <= channel.high
                    assert math.isfinite(value)


@settings(max_examples=200, deadline=None)
@given(line=st.binary(max_size=120))
def test_arbitrary_bytes_never_raise(line: bytes):
    SentenceDecoder("x", Counters("x")).feed(line.decode("latin-1"), 1)
    looks_like_sentence(line)


# The clock of recordings without times.


def clock_times(steps: list[tuple[str, list[str]]]) -> list[float]:
    clock = SentenceClock()
    return [clock.advance(kind, data) / 1e6 for kind, data in steps]


def test_clock_follows_the_sentences():
    steps = [("DPT", ["2"]), ("GGA", ["235958.50"]), ("MTW", ["18"]), ("GGA", ["000001"])]
    assert clock_times(steps) == [0, 0, 0, 2.5]


def test_clock_passes_midnight_once_with_dates():
    def rmc(time: str, date: str) -> tuple[str, list[str]]:
        return "RMC", [time, "A", "", "", "", "", "", "", date, "", ""]

    steps = [rmc("235959", "160906"), ("GGA", ["000000"]), rmc("000001", "170906")]
    assert clock_times(steps) == [0, 1, 2]
    assert clock_times([rmc("235959", "160906"), rmc("000001", "180906")]) == [0, 86402]


def test_clock_stands_still_when_the_receiver_steps_back():
    steps = [("GGA", ["194124"]), ("GGA", ["194111"]), ("GGA", ["194113"])]
    assert clock_times(steps) == [0, 0, 2]

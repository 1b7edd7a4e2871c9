"""Words: expected texts are hand conversions, 1 nmi = 1852 m and 1 kn = 1852/3600 m/s."""

from dataclasses import replace
from datetime import UTC, timedelta, timezone

import pytest

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.faces import format, sentences


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0.00"), (0.456, "0.46"), (4.56, "4.6"), (9.96, "10"), (45.6, "46"), (-0.001, "0.00")],
)
def test_plain_keeps_about_two_figures(value, text):
    assert format.plain(value) == text


@pytest.mark.parametrize(
    ("frac", "text"),
    [
        (0.8, "eight times in ten"),
        (0.9, "nine times in ten"),
        (0.95, "95 times in a hundred"),
    ],
)
def test_coverage_is_said_as_how_often(frac, text):
    assert format.coverage(frac) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (40, "40 s"),
        (35 * 60, "35 min"),
        (2 * 3600, "2 h"),
        (2 * 3600 + 5 * 60, "2 h 05 min"),
        (3600 - 10, "1 h"),
        (9.96 * 3600, "9 h 58 min"),
        (22 * 3600 + 1800 + 60, "23 h"),
        (7 * 86400, "7 days"),
        (None, "not known"),
        (float("nan"), "not known"),
    ],
)
def test_duration(seconds, text):
    assert format.duration(seconds) == text


@pytest.mark.parametrize(
    ("power_w", "text"),
    [(450, "450 W"), (996, "1.0 kW"), (1872, "1.9 kW"), (12_400, "12 kW"), (-0.2, "0 W")],
)
def test_power_in_watts_below_a_kilowatt(power_w, text):
    assert format.power(power_w) == text


def test_speeds_and_distances_leave_in_knots_and_nautical_miles():
    assert format.knots(2.0) == "3.9 kn"  # 2 m/s * 3600 / 1852 = 3.888
    assert format.miles(24_076) == "13 nmi"
    assert format.miles(926) == "0.50 nmi"


def test_band_both_ends_have_the_decimals_of_the_upper():
    distance = Estimate(17_000, 8.64 * 1852, 11.2 * 1852, "m")
    assert format.band(distance) == "9 to 11 nmi"
    assert format.band(distance, long=True) == "between 9 and 11 nautical miles"


def test_band_whose_ends_read_alike_is_about():
    distance = Estimate(22_224, 12.1 * 1852, 12.3 * 1852, "m")
    assert format.band(distance, long=True) == "about 12 nautical miles"


@pytest.mark.parametrize(
    ("estimate", "text"),
    [
        (Estimate(0.64, 0.61, 0.67, "frac"), "61 to 67 %"),
        (Estimate(0.045, 0.030, 0.060, "V"), "30 to 60 mV"),
        (Estimate(52.1, 51.9, 52.3, "V"), "52 to 52 V"),
        (Estimate(450, 400, 500, "W"), "400 to 500 W"),
        (Estimate(1650, 1400, 1900, "W"), "1.4 to 1.9 kW"),
        (Estimate(0.0009, 0.0007, 0.0011, "ohm"), "0.7 to 1.1 mΩ"),
        (Estimate(61, 57, 65, "degC"), "57 to 65 °C"),
        (Estimate(7200, 5400, 9000, "s"), "1 h 30 min to 2 h 30 min"),
        (Estimate(13 * 1852, None, None, "m"), "13 nmi"),
        (cannot_say("no current arrives", "m"), "not known"),
    ],
)
def test_band_in_the_unit_people_use(estimate, text):
    if text == "52 to 52 V":
        text = "52 V"
    assert format.band(estimate) == text


def test_bearing_names_the_nearest_point():
    assert format.bearing(75.2) == "075° (east)"
    assert format.bearing(359.7) == "000° (north)"
    assert format.bearing(225) == "225° (south-west)"


def test_a_log_without_a_date_shows_none():
    afternoon_s = 86400 + 14 * 3600 + 300
    assert format.day(afternoon_s) == "day 2 14:05 undated"
    assert format.moment(afternoon_s, 40.0) == "40 s ago, date not known"
    assert format.moment(afternoon_s, None) == "date not known"


def test_a_range_of_times_tells_the_date_where_the_night_lies_between():
    late = 1_717_400_000.0  # 07:33 UTC
    assert (
        format.moments(Estimate(late, late, late + 3600, "s"), UTC) == "3 Jun 2024 07:33 to 08:33"
    )
    night = Estimate(late, late, late + 20 * 3600, "s")
    assert format.moments(night, UTC) == "3 Jun 2024 07:33 to 4 Jun 2024 03:33"


def test_courses_have_three_figures():
    assert [format.course(d) for d in (5.4, 359.7, 90)] == ["005°", "000°", "090°"]


def test_clock_in_the_zone_asked_for():
    # 1 717 400 000 s after 1970 is 3 June 2024, 07:33:20 UTC (date -u -d @1717400000)
    assert format.day(1_717_400_000, UTC) == "3 Jun 2024 07:33"
    assert format.clock(1_717_400_000, timezone(timedelta(hours=2))) == "09:33"


def test_sureness_is_never_complete():
    assert format.sureness(1.0) == "over 99 %"
    assert format.sureness(0.0) == "less than 1 %"
    assert format.sureness(0.93) == "93 %"


def test_sentence_gets_a_capital_and_one_stop():
    assert format.sentence("slow down") == "Slow down."
    assert format.sentence("Turn now!") == "Turn now!"
    assert format.sentence("") == ""


def test_rate_says_when_a_channel_has_stopped():
    assert format.rate(1.0) == "1 a second"
    assert format.rate(1.0, 4.0) == "1 a second"
    assert format.rate(0.1, 40.0) == "every 10 s"  # four of its intervals: not yet
    assert format.rate(0.1, 60.0) == "every 10 s, silent for 60 s"
    assert format.rate(None, 600.0) == "silent for 10 min"
    assert format.rate(None, None) == ""


def test_an_end_on_another_day_has_its_date():
    start = 1_717_400_000.0  # 3 June 2024, 07:33:20 UTC
    assert format.until(start, start + 3600) == format.clock(start + 3600)
    assert format.until(start, start + 2 * 86400) == format.day(start + 2 * 86400)


def test_a_joint_s_excess_is_said_under_its_condition_and_its_absence_without():
    known = Estimate(0.9e-3, 0.5e-3, 1.5e-3, "ohm")
    assert sentences.joint(known) == "0.5 to 1.5 mΩ too much, if nothing else warms it"
    by_drop = replace(known, used=("probe_a_temp_c", "controller_voltage_v"))
    assert sentences.joint(by_drop) == "0.5 to 1.5 mΩ too much, by the voltage drop"
    assert "too much" not in sentences.joint(cannot_say("this cable has no probe", "ohm"))

"""NMEA 0183: random sentences of every kind, against the fields that pynmea2 gives by name."""

import random

import pynmea2
import pytest

from tests.logger.decode.nmea.test_sentences import decode, sentence

KN, NMI, FT = 1852 / 3600, 1852.0, 0.3048  # by definition
TRIES = 60
# Channel -> the library's name of the field, and what one of its unit is in the channel's.
FIELDS = {
    "RMC": {
        "latitude_deg": ("latitude", 1), "longitude_deg": ("longitude", 1),
        "speed_ground_mps": ("spd_over_grnd", KN), "course_ground_deg": ("true_course", 1),
    },
    "GGA": {"latitude_deg": ("latitude", 1), "longitude_deg": ("longitude", 1),
            "altitude_m": ("altitude", 1)},
    "GLL": {"latitude_deg": ("latitude", 1), "longitude_deg": ("longitude", 1)},
    "VTG": {"course_ground_deg": ("true_track", 1), "speed_ground_mps": ("spd_over_grnd_kts", KN)},
    "VHW": {"heading_true_deg": ("heading_true", 1),
            "heading_magnetic_deg": ("heading_magnetic", 1),
            "speed_water_mps": ("water_speed_knots", KN)},
    "HDT": {"heading_true_deg": ("heading", 1)},
    "HDM": {"heading_magnetic_deg": ("heading", 1)},
    "MTW": {"water_temp_c": ("temperature", 1)},
    "DPT": {"depth_m": ("depth", 1), "other_depth_offset_m": ("offset", 1)},
    "DBT": {"depth_m": ("depth_meters", 1)},
    "MWV": {"wind_angle_apparent_deg": ("wind_angle", 1),
            "wind_speed_apparent_mps": ("wind_speed", KN)},
    "MWD": {"wind_direction_true_deg": ("direction_true", 1),
            "wind_speed_true_mps": ("wind_speed_knots", KN)},
    "RPM": {"shaft_speed_rps": ("speed", 1 / 60)},
    "VLW": {"other_log_total_m": ("trip_distance", NMI),
            "other_log_trip_m": ("trip_distance_reset", NMI)},
    "MDA": {"other_air_pressure_pa": ("b_pressure_bar", 1e5), "other_air_temp_c": ("air_temp", 1),
            "water_temp_c": ("water_temp", 1), "wind_direction_true_deg": ("direction_true", 1),
            "wind_speed_true_mps": ("wind_speed_knots", KN)},
}  # fmt: skip
# What a field holds that is no plain number: by the standard's lists of letters.
LETTERS = {
    "status": "A", "lat_dir": "NS", "lon_dir": "EW", "mag_var_dir": "EW", "mode_indicator": "A",
    "nav_status": "S", "gps_qual": "12", "altitude_units": "M", "geo_sep_units": "M",
    "faa_mode": "A", "true_track_sym": "T", "mag_track_sym": "M", "spd_over_grnd_kts_sym": "N",
    "spd_over_grnd_kmph_sym": "K", "true": "T", "magnetic": "M", "knots": "N", "kilometers": "K",
    "hdg_true": "T", "units": "C", "unit_feet": "f", "unit_meters": "M", "unit_fathoms": "F",
    "reference": "R", "wind_speed_units": "N", "meters": "M", "source": "S", "engine_no": "1",
    "trip_distance_miles": "N", "trip_distance_reset_miles": "N", "inches": "I", "bars": "B",
    "a_celsius": "C", "w_celsius": "C", "d_celsius": "C",
}  # fmt: skip
OTHERS = {"timestamp": "101500.25", "datestamp": "160526", "num_sats": "9", "ref_station_id": ""}


def field(name: str, rng: random.Random) -> str:
    if name in LETTERS:
        return rng.choice(LETTERS[name])
    if name in OTHERS:
        return OTHERS[name]
    if name in ("lat", "lon"):
        width, most = (2, 90) if name == "lat" else (3, 180)
        return f"{rng.randrange(most):0{width}d}{rng.uniform(0, 59.9):07.4f}"
    # within every channel's limits, some fields left empty
    return "" if rng.random() < 0.1 else f"{rng.uniform(0, 40):.{rng.randrange(4)}f}"


@pytest.mark.parametrize("kind", FIELDS)
def test_random_sentences_are_as_the_library_reads_them(kind):
    rng, seen = random.Random(kind), 0
    names = [entry[1] for entry in getattr(pynmea2.types.talker, kind).fields]
    for _ in range(TRIES):
        body = f"II{kind}," + ",".join(field(name, rng) for name in names)
        ours, theirs = decode(sentence(body)), pynmea2.parse(sentence(body))
        for channel, (name, unit) in FIELDS[kind].items():
            told = getattr(theirs, name)
            if told in ("", None):
                if kind not in ("VTG", "DBT"):  # km/h stand in for knots there, feet for metres
                    assert ours.get(channel) is None, body
                continue
            assert ours[channel] == pytest.approx(float(told) * unit, rel=1e-9, abs=1e-7), body
            seen += 1
    assert seen > TRIES / 2

"""The demo: the shipped recording against the simulation, read by outside decoders."""

import gzip
import json
import math
import random
from pathlib import Path

import cantools
import numpy as np
import pynmea2
import pytest
import zstandard
from pytest import approx

from logger.boat import load
from replay.boatsim import demo_boat as d
from replay.boatsim.demo import make, outing
from replay.boatsim.instruments import sensors
from replay.boatsim.instruments.wire import MESSAGES, encode

SHIPPED = Path(__file__).parents[2] / "replay" / "demo"


def lines_of(folder):
    """CAN lines and NMEA lines of a folder."""
    packed = (folder / "demo.candump.log.zst").read_bytes()
    can = zstandard.ZstdDecompressor().decompress(packed).decode("ascii").splitlines()
    return can, gzip.decompress((folder / "demo.nmea.gz").read_bytes()).decode().splitlines()


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The demo made afresh: folder and outing."""
    folder = tmp_path_factory.mktemp("demo")
    return folder, make(folder)


@pytest.fixture(scope="module")
def sound():
    """The same day without faults."""
    return outing(faults=False)


def test_energy_closes(made):
    s = made[1].series
    pack_w = s["pack_v"] * s["pack_a"]
    rest_w = s["rest_v"] * s["pack_a"]
    outside = s["controller_v"] * s["controller_a"] + s["wire_heat_w"]
    outside = outside + s["hotel_w"] - s["solar_w"] - s["shore_w"]
    assert (rest_w - s["cell_heat_w"]).sum() == approx(pack_w.sum(), rel=1e-9)
    assert pack_w.sum() == approx(outside.sum(), rel=1e-5)
    assert s["controller_v"] * s["controller_a"] == approx(made[1].motion.controller_w, abs=0.02)


def test_charge_closes(made):
    day = made[1]
    given_ah = day.series["pack_a"][:-1].sum() / 3600
    lost = (day.cell_soc[0] - day.cell_soc[-1]) * day.boat.true_cells().capacity_ah
    assert lost == approx(given_ah, rel=1e-9)


def test_shipped_recording_is_what_the_simulation_makes(made):
    # Not byte for byte: another machine's exp() may differ in the last bit and flip a rounding.
    for fresh, shipped in zip(lines_of(made[0]), lines_of(SHIPPED), strict=True):
        assert len(fresh) == len(shipped)
        same = sum(a == b for a, b in zip(fresh, shipped, strict=True))
        assert same > 0.999 * len(shipped)
    assert (made[0] / "demo.dbc").read_text() == (SHIPPED / "demo.dbc").read_text()


def test_shipped_truth_is_what_the_simulation_says(made):
    fresh = json.loads((made[0] / "truth.json").read_text())
    shipped = json.loads((SHIPPED / "truth.json").read_text())
    assert fresh["faults"] == shipped["faults"]
    assert fresh["soc_frac"] == approx(shipped["soc_frac"], abs=1e-4)
    for key in ("distance_m", "duration_s", "pack_w"):
        assert fresh["end"]["present"][key] == approx(shipped["end"]["present"][key], rel=2e-3)


def test_recording_ends_steady_on_the_way_home_with_charge_above_the_reserve(made):
    day = made[1]
    last = slice(-900, None)
    assert set(day.motion.doing[last]) == {"motoring"}
    assert day.motion.speed_water_mps[last].std() < 0.06
    assert np.ptp(day.motion.shaft_rps[last]) < 0.01
    assert day.soc_frac[-1] > day.boat.reserve_frac + 0.2
    off_m = math.hypot(day.motion.east_m[-1], day.motion.north_m[-1])
    assert 450 < off_m < 1500  # near the entrance, out of the sheltered berth


def test_run_on_truth_agrees_with_what_was_going_on(made):
    end = json.loads((made[0] / "truth.json").read_text())["end"]
    s = made[1].series
    assert end["present"]["pack_w"] == approx((s["pack_v"] * s["pack_a"])[-900:].mean(), rel=0.02)
    m = made[1].motion
    lately = np.hypot(m.east_mps[-300:].mean(), m.north_mps[-300:].mean())
    assert end["present"]["speed_ground_mps"] == approx(lately, rel=0.01)
    # Charge above the reserve over power, by hand: within what voltage and losses leave open.
    left_ah = (end["soc_frac"] - 0.2) * made[1].boat.true_cells().capacity_ah.mean()
    by_hand_s = left_ah * s["pack_v"][-60:].mean() / end["present"]["pack_w"] * 3600
    assert end["present"]["duration_s"] == approx(by_hand_s, rel=0.02)
    distances = [row["distance_m"] for row in end["others"]]
    assert distances == sorted(distances, reverse=True)


def test_without_faults_only_the_faults_are_gone(made, sound):
    day = made[1]
    for name in ("speed_water_mps", "heading_deg", "shaft_rps", "controller_w", "east_m"):
        assert (getattr(day.motion, name) == getattr(sound.motion, name)).all()
    others = [c for c in range(16) if c != 10]
    assert np.abs(day.cell_v - sound.cell_v)[:, others].max() < 0.003
    assert (day.cell_v - sound.cell_v)[-900:, 10].mean() < -0.03
    assert np.abs(day.lug_c - sound.lug_c)[:7500].max() < 0.5
    apart = (day.lug_c - sound.lug_c)[-1]
    assert apart[1] > 12
    assert np.abs(apart[[0, 2, 3]]).max() < 1.5
    assert day.lug_c.max() < 60  # heats clearly, but no danger


def test_can_frames_decode_by_cantools_to_the_encoded_values():
    db = cantools.database.load_file(SHIPPED / "demo.dbc")
    rng = random.Random(5)
    for message in MESSAGES:
        spread = {"rps": 20.0, "frac": 0.9}
        values = {
            s.channel: np.array([rng.uniform(0, spread.get(s.channel.rsplit("_")[-1], 40.0))
                                 for _ in range(20)])
            for s in message.signals
        }  # fmt: skip
        for k, data in enumerate(encode(message, values)):
            decoded = db.decode_message(message.frame_id, data.tobytes())
            for s in message.signals:
                expected = values[s.channel][k] * s.sign * s.per_unit
                assert decoded[s.name] == approx(expected, abs=0.5001 * s.scale)


def test_shipped_frames_decode_to_the_simulated_values(made):
    db = cantools.database.load_file(SHIPPED / "demo.dbc")
    can, _ = lines_of(SHIPPED)
    true = sensors.truth(made[1])
    where = {(m.frame_id, s.name): s for m in MESSAGES for s in m.signals}
    # Noise's four standard deviations, offsets, one step.
    slack = {"V": 0.16, "A": 1.2, "degC": 2.0, "rpm": 16.0, "Nm": 1.2, "W": 8.0, "%": 3.1, "": 0.5}
    for line in can[::97]:
        stamp, _, frame = line.split()
        t_s = float(stamp.strip("()")) - d.START_UTC_S
        frame_id, data = frame.split("#")
        for name, value in db.decode_message(int(frame_id, 16), bytes.fromhex(data)).items():
            signal = where[int(frame_id, 16), name]
            if value > (signal.absent - 0.5) * signal.scale + signal.offset:
                continue
            curve = true[signal.channel] * signal.sign * signal.per_unit
            expected = float(np.interp(t_s, np.arange(len(curve)), curve))
            room = slack[signal.unit] + 0.012 * abs(expected)
            assert value == approx(expected, abs=room), (line, name)


def test_sentences_decode_by_pynmea2_to_the_simulated_values(made):
    _, said = lines_of(SHIPPED)
    m, fixes = made[1].motion, 0
    for line in said[::23]:
        stamp, port, text = line.split(" ", 2)
        assert port == "gps"
        sentence = pynmea2.parse(text, check=True)
        k = int(float(stamp.strip("()")) - d.START_UTC_S)
        if sentence.sentence_type == "RMC" and sentence.status == "A":
            fixes += 1
            speed = math.hypot(m.east_mps[k], m.north_mps[k]) / d.KN
            assert float(sentence.spd_over_grnd) == approx(speed, abs=0.6)
            metres = (sentence.latitude - d.LATITUDE_DEG) * 111_200  # a degree at 46 N, WGS84
            assert metres == approx(m.north_m[k], abs=45)
        if sentence.sentence_type == "VHW":
            wheel = m.speed_water_mps[k] * made[1].boat.instruments.paddle_gain / d.KN
            assert float(sentence.water_speed_knots) == approx(wheel, abs=0.5)
        if sentence.sentence_type == "HDG":
            off = float(sentence.heading) + d.VARIATION_DEG - m.heading_deg[k]
            assert abs((off + 180) % 360 - 180) < 6
    assert fixes > 300


def test_one_minute_has_no_fix():
    _, said = lines_of(SHIPPED)
    void = [line for line in said if "$GPRMC" in line and ",V," in line]
    assert 60 <= len(void) <= 65


def test_boat_file_says_what_the_simulated_boat_is():
    boat, sim = load(SHIPPED / "boat.toml"), d.demo_boat()
    assert boat.hull.waterline_m == sim.hull.waterline_m
    assert boat.hull.displacement_kg == sim.hull.mass_kg
    assert boat.pack.cells_in_series == len(sim.cells.capacity_ah) == 16
    assert boat.pack.rated_capacity_ah == sim.rated_ah
    assert boat.pack.cell_cutoff_v == sim.cutoff_v
    assert boat.motor.cutback_v == sim.cutback_v
    assert boat.motor.propeller_diameter_m == sim.drive.diameter_m
    assert boat.reserve.soc_frac == sim.reserve_frac
    assert [c.name for c in boat.cable] == [
        "battery_positive", "battery_negative", "contactor", "controller_positive"
    ]  # fmt: skip
    for cable in boat.cable:
        run = next(r for r in sim.runs if r.name == cable.name)
        assert (cable.size_mm2, cable.length_m) == (run.size_mm2, run.length_m)
    named = {s.channel for m in MESSAGES for s in m.signals}
    signals = boat.source[0].options["signals"]
    assert isinstance(signals, dict)
    assert {entry["channel"] for entry in signals.values()} == named

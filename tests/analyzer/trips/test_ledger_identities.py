"""Ledger: on whatever readings, parts add up to the whole, each a sum done reading by reading."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from analyzer.series.series import Series
from analyzer.trips.ledger import ledger
from analyzer.trips.trips import Trip
from logger.boat import Boat, Cable, Hotel
from tests.support.motor_boat import motor_boat

Z80 = 1.2815515655446004  # the normal distribution's 90 % point
N = 40
RANGES = {
    "pack_voltage_v": (44.0, 58.0),
    "pack_current_a": (-60.0, 150.0),
    "controller_voltage_v": (43.0, 58.0),
    "controller_current_a": (-60.0, 150.0),
    "hotel_power_w": (0.0, 400.0),
    "solar_power_w": (0.0, 300.0),
    "shore_power_w": (0.0, 900.0),
}


@st.composite
def logs(draw) -> Series:
    """Any of the channels, each with gaps; the pack's own always."""
    values = {}
    for name, (low, high) in RANGES.items():
        if name.startswith("pack") or draw(st.booleans()):
            column = draw(arrays(np.float64, N, elements=st.floats(low, high, width=32)))
            gaps = draw(arrays(np.bool_, N, elements=st.sampled_from([False] * 5 + [True])))
            values[name] = np.where(gaps, np.nan, column)
    return Series(10**15, draw(st.sampled_from([1.0, 2.5, 60.0])), N, values)


def boat(length_m: float, hotel_in_pack: bool) -> Boat:
    return motor_boat(
        hotel=Hotel(power_w=80.0, measured_in_pack_current=hotel_in_pack),
        cable=(Cable(name="positive", size_mm2=50, length_m=length_m),) if length_m else (),
    )


def by_hand(log: Series, b: Boat) -> dict[str, float]:
    """Watt-hours reading by reading; a reading that lacks what a row needs adds nothing to it."""
    # 50 mm² of class 5 is 0.386 mohm/m (IEC 60228); a tenth more for warmth and joints.
    loop = 1.1 * sum(0.386e-3 * c.length_m for c in b.cable)
    out = dict.fromkeys(("out", "back", "hotel", "sun", "shore", "lost", "lost_i2r", "pack"), 0.0)
    whole = {name: bool(np.isfinite(log.get(name)).any()) for name in RANGES}
    typical = b.hotel.power_w if b.hotel.measured_in_pack_current else 0.0
    for k in range(log.n):
        r = {name: float(log.get(name)[k]) for name in RANGES}
        into = sum(v for v in (r["solar_power_w"], r["shore_power_w"]) if math.isfinite(v))
        amps = r["controller_current_a"]
        if not whole["controller_current_a"]:
            # As everywhere: where the hotel load is not read, the boat file's figure stands in.
            load = r["hotel_power_w"] if math.isfinite(r["hotel_power_w"]) else typical
            amps = r["pack_current_a"] - (load - into) / r["pack_voltage_v"]
        volts = r["controller_voltage_v"]
        if not math.isfinite(volts):
            volts = r["pack_voltage_v"] - loop * amps
        power = volts * amps
        through = r["controller_current_a"]
        if not math.isfinite(through):
            through = r["pack_current_a"]
        drop = r["pack_voltage_v"] - r["controller_voltage_v"]
        adds = {
            "out": max(power, 0.0) if math.isfinite(power) else 0.0,
            "back": min(power, 0.0) if math.isfinite(power) else 0.0,
            "hotel": r["hotel_power_w"] if whole["hotel_power_w"] else typical,
            "sun": -r["solar_power_w"],
            "shore": -r["shore_power_w"],
            "lost": drop * through,
            "lost_i2r": loop * through**2,
            "pack": r["pack_voltage_v"] * r["pack_current_a"],
        }
        for name, watts in adds.items():
            out[name] += watts * log.step_s / 3600 if math.isfinite(watts) else 0.0
    return out


TEXTS = {
    "out": "to the motor",
    "back": "back from the motor (regeneration)",
    "hotel": "to the hotel load",
    "sun": "from the sun",
    "shore": "from shore",
    "pack": "given by the pack, net",
}


@given(logs(), st.sampled_from([0.0, 6.0]), st.booleans())
def test_every_row_is_its_sum_reading_by_reading(log, length_m, hotel_in_pack):
    b = boat(length_m, hotel_in_pack)
    rows = {r.text: r.energy for r in ledger(log, None, b, None)}
    hand = by_hand(log, b)
    for name, text in TEXTS.items():
        if text in rows and rows[text].mid is not None:
            assert rows[text].mid == pytest.approx(hand[name], rel=1e-9, abs=1e-9)
        else:
            assert hand[name] == 0.0 or name in ("out", "back")
    lost = rows["lost in cables and contactor"]
    if lost.mid is not None:
        drop = log.get("pack_voltage_v") - log.get("controller_voltage_v")
        amps = np.fmax(np.abs(log.get("controller_current_a")), np.abs(log.get("pack_current_a")))
        known = "lost" if np.isfinite(drop * amps).any() else "lost_i2r"
        assert lost.mid == pytest.approx(hand[known], rel=1e-9, abs=1e-9)
    else:
        assert not length_m


@given(logs(), st.sampled_from([0.0, 6.0]), st.booleans())
def test_rows_add_up_to_the_pack_s_and_their_doubts_to_the_rest_s(log, length_m, hotel_in_pack):
    rows = list(ledger(log, None, boat(length_m, hotel_in_pack), None))
    assert [r.text for r in rows[-2:]] == ["not accounted for", "given by the pack, net"]
    *parts, left, pack = [r.energy for r in rows]
    if pack.mid is None:  # what is not measured leaves nothing to account for
        assert left.mid is None
        return
    total = sum(e.mid for e in [*parts, left] if e.mid is not None)
    assert total == pytest.approx(pack.mid, rel=1e-9, abs=1e-9)
    half = [e.high - e.low for e in [*parts, pack] if e.mid is not None]
    assert left.high - left.low == pytest.approx(math.hypot(*half), rel=1e-9, abs=1e-12)
    for e in [*parts, left, pack]:
        assert e.mid is None or e.low - 1e-9 <= e.mid <= e.high + 1e-9


@given(logs())
def test_the_pack_s_doubt_is_a_hundredth_and_an_offset_while_current_flows(log):
    power = log.get("pack_voltage_v") * log.get("pack_current_a")
    rows = {r.text: r.energy for r in ledger(log, None, boat(0.0, True), None)}
    got, there = rows["given by the pack, net"], power[np.isfinite(power)]
    if not len(there):
        assert got.mid is None
        return
    hours = log.step_s / 3600
    offset = 0.2 * np.nanmedian(log.get("pack_voltage_v")) * np.count_nonzero(there) * hours
    sd = math.hypot(0.01 * there.sum() * hours, offset)
    assert got.high - got.low == pytest.approx(2 * Z80 * sd, rel=1e-9)


@given(logs(), st.integers(0, N), st.integers(0, N), st.booleans())
def test_a_stretch_and_what_lies_around_it_are_the_whole(log, a, b, hotel_in_pack):
    """Energies of measured rows are sums: three stretches make the log."""
    ends = [0, *sorted((a, b)), N]
    ship = boat(0.0, hotel_in_pack)
    whole = {r.text: r.energy.mid or 0.0 for r in ledger(log, None, ship, None)}
    for text in ("from the sun", "from shore", "given by the pack, net"):
        total = 0.0
        for first, last in pairwise(ends):
            at_us = [log.t0_us + round(k * log.step_s * 1e6) for k in (first, last)]
            part = {r.text: r.energy for r in ledger(log, None, ship, Trip(*at_us, ()))}
            total += (part[text].mid or 0.0) if text in part else 0.0
        assert total == pytest.approx(whole.get(text, 0.0), rel=1e-9, abs=1e-9)

"""The sag account against simulated packs that share no code with it: every term, 200 trips.

The packs are the invented boats' (`replay/boatsim`): sixteen different cells, half-cell curves in
windows of their own, hysteresis by play operators, two RC pairs and cold by their own numbers. A
term is right within 12 % or 50 mV of the pack, whichever is larger. KEELWATT_FULL=1 runs all 200
trips, else 3.
"""

import os
from dataclasses import dataclass, replace

import numpy as np
import pytest

from analyzer.learned import sag_history
from analyzer.pack.soc import Charge, known, track
from analyzer.series.series import Series
from analyzer.trips.sag_account import worst
from analyzer.trips.sag_prior import Earlier
from analyzer.trips.sag_split import split
from analyzer.trips.trips import Trip as Outing
from logger.boat import Boat, Pack
from replay.boatsim.physics.battery import Battery, Cells
from tests.boats.random_boat import random_boat
from tests.support.motor_boat import motor_boat

TRIPS = 200 if os.environ.get("KEELWATT_FULL") else 3
BEFORE = 3  # trips in the log, of which the first alone, or all
REST_S, TRIP_S, AFTER_S = 900, 7200, 3600
NAMES = ("charge used", "resistance", "polarisation", "cold", "weak cell", "cables and contactor")


@dataclass
class Trip:
    series: Series
    boat: Boat
    soc: float
    true: dict[str, np.ndarray]  # term -> volts at each second


def profile(rng: np.random.Generator, ah: float) -> np.ndarray:
    """Rest, then motoring at changing power with sails between, gusts on top. [A]"""
    out = [np.zeros(REST_S)]
    while sum(map(len, out)) < REST_S + TRIP_S:
        n = int(rng.uniform(300, 2400))
        level = (
            ah * rng.uniform(0.08, 0.5) if rng.random() < 0.75 else ah * rng.uniform(-0.02, 0.01)
        )
        out.append(level * (1 + 0.05 * rng.standard_normal(n)))
    return np.concatenate([np.concatenate(out)[: REST_S + TRIP_S], np.zeros(AFTER_S)])


def trips(seed: int) -> tuple[Trip, list[Trip]]:
    """One trip with what every term truly was, and `BEFORE` trips of the boat's before it.

    Those were made some weeks earlier: their temperatures are others by 8 K, one standard
    deviation (invented).
    """
    rng = np.random.default_rng([seed, 77])
    cells = random_boat(seed).cells
    number = len(cells.capacity_ah)
    weak = int(rng.integers(number)) if rng.random() < 0.4 else None
    r, sound = cells.r_ohm.copy(), cells.r_ohm.copy()
    if weak is not None:
        sound[weak] = np.median(r)
        r[weak] *= rng.uniform(1.4, 2.0)
    cells = replace(cells, r_ohm=r)
    temp, soc = float(rng.uniform(-2, 35)), float(rng.uniform(0.75, 0.98))
    now = simulated(rng, cells, sound, temp, soc)
    before = []
    for k in range(BEFORE):
        rng = np.random.default_rng([seed, 78 + k])
        then = float(np.clip(temp + rng.normal(0, 8), -5, 40))
        before.append(simulated(rng, cells, sound, then, float(rng.uniform(0.75, 0.98))))
    return now, before


def simulated(
    rng: np.random.Generator, cells: Cells, sound_ohm: np.ndarray, temp: float, soc: float
) -> Trip:
    """A trip; `sound_ohm` is what each cell's resistance would be with none of them weak."""
    number, ah = len(cells.capacity_ah), float(np.mean(cells.capacity_ah))
    pack = Battery(cells, np.full(number, soc), temp)
    warm = Battery(cells, np.full(number, soc), 25.0)  # the same, held at 25 °C
    current = profile(rng, ah)
    # As long at rest as the trip is, after a discharge: play operators on the discharge side.
    pack.play = pack.soc[:, None] + np.array([0.004, 0.015, 0.05])
    cable_ohm = float(rng.uniform(0.8e-3, 3e-3))
    n = len(current)
    got = {k: np.zeros(n) for k in ("rest", "ohmic", "polar", "ohmic25", "polar25", "weak", "temp")}
    volts = np.zeros((number, n))
    heat = np.zeros(number)
    for k, i in enumerate(current.tolist()):
        if k % 60 == 0 and k:
            pack.refresh(heat, 60.0, temp)
            warm.refresh(0 * heat, 60.0, 25.0)
            heat = np.zeros(number)
        pack.source()
        grown = pack.r_ohm / cells.r_ohm
        cold = float(grown.mean())
        volts[:, k] = pack.rest_v - pack.sagged.sum(axis=0) - i * pack.r_ohm
        link = i * cells.link_ohm
        extra = i * float((cells.r_ohm - sound_ohm).sum()) * cold
        got["rest"][k] = pack.rest_v.sum()
        got["ohmic"][k] = i * pack.r_ohm.sum() - extra + link
        got["polar"][k] = pack.sagged.sum()
        got["ohmic25"][k] = i * float((sound_ohm * grown / cold).sum()) + link
        got["polar25"][k] = warm.sagged.sum()
        got["weak"][k] = extra
        got["temp"][k] = pack.temp_c.mean()
        heat += i * i * pack.r_ohm + i * pack.sagged.sum(axis=0)
        pack.step(i, 1.0)
        warm.step(i, 1.0)
    terminal = volts.sum(axis=0) - current * cells.link_ohm
    noise = lambda sd, n=n: sd * rng.standard_normal(n)  # noqa: E731
    offset, gain = rng.normal(0, 0.15), rng.normal(1, 0.004)
    values = {
        "pack_voltage_v": np.round(terminal + noise(0.01), 2),
        "controller_voltage_v": np.round(terminal - cable_ohm * current + noise(0.01), 2),
        "pack_current_a": np.round(gain * current + offset + noise(0.1), 1),
        "pack_temp_c": np.round(got["temp"] + noise(0.2), 1),
    }
    for c in range(number):
        values[f"cell_{c + 1:02d}_voltage_v"] = np.round(volts[c] + noise(0.0005), 3)
    boat = motor_boat(
        pack=Pack(chemistry="lfp", cells_in_series=number, rated_capacity_ah=round(ah))
    )
    true = {
        "charge used": got["rest"][REST_S - 1] - got["rest"],
        "resistance": got["ohmic25"],
        "polarisation": got["polar25"],
        "cold": got["ohmic"] + got["polar"] - got["ohmic25"] - got["polar25"],
        "weak cell": got["weak"],
        "cables and contactor": cable_ohm * current,
    }
    return Trip(Series(10**15, 1.0, n, values), boat, soc, true)


Account = dict[str, tuple[float, float, float, float]]


def judged(seed: int, off: np.ndarray) -> dict[str, Account]:
    """Term -> said, true, low, high, at the trip's worst moment; charge known within 3 %.

    By the trip alone; with the hour of rest after it; with the trip before it in the log; both;
    with the three trips before it.
    """
    now, before = trips(seed)
    earlier = tuple(as_kept(t, o) for t, o in zip(before, off[1:], strict=True))
    cut = replace(now, series=now.series.cut(0, REST_S + TRIP_S))
    short, whole = followed(cut, off[0]), followed(now, off[0])
    return {
        "alone": compared(cut, short, ()),
        "rested": compared(now, whole, ()),
        "after another": compared(cut, short, earlier[:1]),
        "both": compared(now, whole, earlier[:1]),
        "after three": compared(cut, short, earlier),
    }


def as_kept(then: Trip, off: float) -> Earlier:
    """What the log keeps of a trip."""
    found = split(then.series, followed(then, off), then.boat)
    assert found is not None
    return sag_history.as_earlier(sag_history.circuit(then.series, found))


def followed(t: Trip, off: float) -> Charge:
    """The charge from a start that is said wrong by so much."""
    soc = float(np.clip(t.soc + off, 0, 1))
    return track(t.series, t.boat.pack, known(t.boat.pack, soc, 0.03, t_us=t.series.t0_us))


def compared(t: Trip, charge: Charge, earlier: tuple[Earlier, ...]) -> Account:
    first = t.series.t0_us + REST_S * 10**6
    outing = Outing(first, first + TRIP_S * 10**6, ())
    account = worst(t.series, charge, t.boat, outing, earlier)
    assert account is not None
    at = round(account.utc_s - t.series.t0_us / 1e6)
    window = slice(max(at - 5, 0), min(at + 6, t.series.n))  # the account saw no further
    out = {}
    for term in account.terms:
        name = "weak cell" if term.text.startswith("weak") else term.text
        true = float(np.mean(t.true[name][window])) if name in t.true else 0.0
        v = term.volts
        out[name] = (v.mid or 0.0, true, v.low or 0.0, v.high or 0.0)
    return out


@pytest.fixture(scope="module")
def ways() -> list[dict[str, Account]]:
    off = [np.random.default_rng(k).normal(0, 0.03, TRIPS) for k in range(5, 6 + BEFORE)]
    return [judged(seed, np.array(one)) for seed, one in enumerate(zip(*off, strict=True))]


def share_right(accounts: list[Account], name: str) -> float:
    """Share of trips in which a term is within 12 % or 50 mV."""
    off = np.array([abs(a[name][0] - a[name][1]) for a in accounts])
    bar = np.array([max(0.12 * abs(a[name][1]), 0.05) for a in accounts])
    return float(np.mean(off <= bar))


WAYS = ("alone", "both", "after three")
# Measured over 200 trips. One trip at one temperature cannot tell how a cell takes the cold, nor
# slow polarisation from the rest curve's slope: ranges and sentence say so.
MISSED = {
    ("alone", "polarisation"): "88 % of 200 trips, where 90 % is asked; floor 50 %",
    ("alone", "cold"): "82 % of 200 trips, where 90 % is asked; floor 50 %",
    ("both", "cold"): "86 % of 200 trips, where 90 % is asked; floor 50 %: a trip before at a like "
    "temperature tells nothing of the cold",
}


def asked(way: str, name: str) -> object:
    """A term, expected to miss where 200 trips are run and it was measured to."""
    why = MISSED.get((way, name))
    if why is None or TRIPS < 200:
        return pytest.param(way, name)
    return pytest.param(way, name, marks=pytest.mark.xfail(strict=True, reason=why))


TERMS = [(way, name) for way in WAYS for name in (*NAMES, "unexplained")]


@pytest.mark.parametrize(("way", "name"), [asked(*term) for term in TERMS])
def test_term_is_within_12_per_cent_or_50_mv_in_nine_trips_of_ten(ways, way, name):
    accounts = [one[way] for one in ways]
    right = share_right(accounts, name)
    off = max(abs(a[name][0] - a[name][1]) for a in accounts)
    print(f"\n{name}, {way}: {right:.1%} of {len(accounts)} trips, worst off by {off:.2f} V")
    # Of few trips a share wanders by its own counting error (two standard deviations).
    assert right >= 0.9 - (2 * np.sqrt(0.09 / len(ways)) if TRIPS < 200 else 0.0)


@pytest.mark.parametrize(("way", "name"), TERMS)
def test_no_term_is_wrong_in_most_trips(ways, way, name):
    """The floor of the misses above: below it is a fault, not a miss."""
    assert share_right([one[way] for one in ways], name) >= 0.5


@pytest.mark.parametrize("name", NAMES[:4])
def test_rest_afterwards_and_a_trip_before_tell_more(ways, name):
    shares = {way: share_right([w[way] for w in ways], name) for way in ways[0]}
    print(f"\n{name}: " + ", ".join(f"{way} {share:.1%}" for way, share in shares.items()))
    assert shares["both"] >= shares["alone"] - (0.25 if TRIPS < 200 else 0.02)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", NAMES)
def test_term_s_range_is_honest(ways, name, way):
    """An 80 % range that held in fewer than two trips of three would mislead."""
    rows = [one[way][name] for one in ways]
    held = [low - 0.005 <= true <= high + 0.005 for _, true, low, high in rows]
    print(f"\n{name}, {way}: in its 80 % range in {np.mean(held):.1%} of {len(rows)} trips")
    assert np.mean(held) >= (0.66 if TRIPS == 200 else 0.5)


def test_the_terms_and_the_unexplained_add_up_to_the_whole(ways):
    """What a term gets wrong must sit in another or in the open: nothing is lost."""
    for account in (account for one in ways for account in one.values()):
        said = sum(v[0] for v in account.values())
        true = sum(v[1] for v in account.values())
        assert said == pytest.approx(true, abs=0.12)  # rest and loaded voltage, as measured

"""What the log knows of the charge at any time. Figures invented."""

import numpy as np
import pytest
from pytest import approx

from analyzer.answers import Log, refresh
from analyzer.answers.snapshot import here_now
from analyzer.faces.cli import main
from analyzer.faces.cli.base import options
from analyzer.learned import charge_history
from analyzer.learned.charge_history import charge_at, charges
from analyzer.learned.keys import CHARGE, CHARGE_BEFORE
from analyzer.pack.chemistry import chemistry
from analyzer.pack.curves.service_prior import moments
from analyzer.pack.soc import track
from analyzer.series.log import OpenLog, pack_channels
from logger import boat as boats
from logger.errors import StoreError
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store
from tests.support.small_boat import AH, BOAT_TEXT

BOAT = boats.parse(BOAT_TEXT, "boat.toml")
NAMES = ("pack_voltage_v", "pack_current_a", "speed_ground_mps")
GROUP = Group("test/pack", NAMES, (EXACT,) * len(NAMES))
START_US = 1_782_887_400_300_000  # no whole second
HOUR = 3600
# hours, amperes, metres a second: held at the top, at rest, under way, at anchor
QUAY = [(0.5, -2.0, 0.0), (1.5, 0.0, 0.0)]
TRIP = [(2.0, 40.0, 2.0)]
ANCHOR = [(4.0, 1.0, 0.0)]


@pytest.fixture
def log(tmp_path):
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        store.save_boat(BOAT_TEXT, 1)
        yield OpenLog(store, BOAT)


def put(log, legs, full=1.0, after_h=0.0, boot="boot", names=NAMES):
    """Records legs; the voltage is the chemistry's own for what was given since `full`."""
    span = log.store.span()
    first_s = 0 if span is None else round((span[1] - START_US) / 1e6) + 1 + round(after_h * HOUR)
    amps, speed = (np.repeat([leg[k] for leg in legs], [round(leg[0] * HOUR) for leg in legs])
                   for k in (1, 2))  # fmt: skip
    kind = chemistry("lfp")
    at_rest = kind.ocv_v(full - np.cumsum(np.maximum(amps, 0)) / HOUR / AH, 25.0, -1.0)
    volts = np.where(amps < 0, 3.55, at_rest - 5e-4 * amps) * 16
    writer = log.store.writer(boot)
    writer.add(UtcFix(0, START_US, "file", 1.0))
    t_us = (first_s + np.arange(len(amps), dtype=np.int64)) * 1_000_000
    read = dict(zip(NAMES, (volts, amps, speed), strict=True))
    group = Group("test/" + " ".join(names), names, (EXACT,) * len(names))
    writer.add(Block(group, t_us, np.column_stack([read[name] for name in names])))
    writer.close()


def end_us(log):
    return log.store.span()[1] + 1


def test_what_was_recorded_before_a_trip_counts(log):
    put(log, QUAY + TRIP)
    refresh.refresh(log)
    charge = here_now(log, end_us(log)).charge
    # 80 Ah of 200 from full, give or take the label's 8 %
    assert charge.soc == approx(0.6, abs=0.04)
    assert charge.sd < 0.06
    assert charge.full_us is not None
    assert len(log.store.learned(CHARGE_BEFORE)) == 1


def test_is_the_same_as_followed_in_one_go(log):
    put(log, QUAY + TRIP + ANCHOR)
    series = log.load(pack_channels(BOAT), START_US, end_us(log))
    at_once = track(series, BOAT.pack).final
    never_looked = charge_at(log, end_us(log))
    refresh.refresh(log)
    found = charge_at(log, end_us(log))
    assert never_looked.soc == approx(at_once.soc, abs=1e-6)
    assert found.soc == approx(at_once.soc, abs=0.01)
    assert found.sd == approx(at_once.sd, rel=0.15)


def test_asked_between_two_looks_it_goes_on_from_what_was_kept(log):
    put(log, QUAY + TRIP)
    refresh.refresh(log)
    before = charge_at(log, end_us(log))
    put(log, [(1.0, 40.0, 2.0)], full=0.6)
    after = charge_at(log, end_us(log))
    assert before.soc - after.soc == approx(40 / AH, abs=0.02)
    assert charge_at(log, log.store.trips()[0].start_us).soc > 0.95


def test_at_anchor_it_does_not_forget(log):
    put(log, QUAY + TRIP)
    refresh.refresh(log)
    before = charge_at(log, end_us(log))
    put(log, ANCHOR, full=0.6)
    refresh.refresh(log)
    after = here_now(log, end_us(log)).charge
    assert before.soc - after.soc == approx(4 / AH, abs=0.03)
    assert after.sd < 0.08


def test_a_long_silence_leaves_it_open(log):
    put(log, QUAY + TRIP)
    refresh.refresh(log)
    put(log, [(0.05, 0.0, 0.0)], full=0.6, after_h=48.0, boot="later")
    refresh.refresh(log)
    after = charge_at(log, end_us(log))
    assert after.sd > 0.08
    assert after.capacity_sd_ah == approx(
        log.store.learned(CHARGE)[0].value["capacity_sd_ah"], rel=0.1
    )


def test_without_current_there_is_none(log):
    assert charge_at(log, START_US) is None
    put(log, QUAY, names=("pack_voltage_v", "speed_ground_mps"))
    assert charge_at(log, end_us(log)) is None
    refresh.refresh(log)
    assert here_now(log, end_us(log)).charge is None


def test_between_boots_without_a_date_anything_may_have_happened(log):
    put(log, QUAY + TRIP)
    known = charge_at(log, end_us(log))
    writer = log.store.writer("undated")  # placed a minute after the one before
    t_us = np.arange(600, dtype=np.int64) * 1_000_000
    flat = np.column_stack([np.full(600, 53.2), np.zeros(600), np.zeros(600)])
    writer.add(Block(GROUP, t_us, flat))
    writer.close()
    start = end_us(log) - 600 * 1_000_000
    assert start - known.t_us < 120e6
    assert charge_at(log, end_us(log)).sd > 2 * known.sd
    refresh.refresh(log)
    assert charge_at(log, end_us(log)).sd > 2 * known.sd


def test_a_log_that_nobody_looked_through_is_looked_through_when_asked(log, capsys, monkeypatch):
    monkeypatch.setattr(options, "log", lambda _options: Log(log.store.path))
    put(log, QUAY + TRIP + ANCHOR)
    assert main.main(["range"]) == 0
    assert "Charge" in capsys.readouterr().out
    assert len(log.store.trips()) == 1


def test_a_log_that_cannot_be_written_is_read_as_it_is(log, capsys, monkeypatch):
    monkeypatch.setattr(options, "log", lambda _options: Log(log.store.path))
    put(log, QUAY + TRIP)

    def refuse(*_):
        raise StoreError("the log is on a read-only disk")

    monkeypatch.setattr(Log, "refresh", refuse)
    assert main.main(["range"]) == 0
    told = capsys.readouterr()
    assert "What is new may be missing here" in told.err
    assert "nautical miles" in " ".join(told.out.split())


def test_a_corrected_boat_file_counts_at_once(log):
    put(log, QUAY + TRIP)
    refresh.refresh(log)
    end = end_us(log)
    before = here_now(log, end)
    # twice the capacity: the same 80 Ah are a fifth
    twice = OpenLog(log.store, boats.parse(BOAT_TEXT.replace(f"{AH}", f"{2 * AH}"), "boat.toml"))
    after = here_now(twice, end)
    assert before.charge.soc == approx(0.6, abs=0.04)
    assert after.charge.soc == approx(0.8, abs=0.05)
    in_service = np.exp(moments(chemistry("lfp").capacity)[0])  # of the label
    assert after.charge.capacity_ah == approx(2 * AH * in_service, rel=0.08)
    heavier = BOAT_TEXT.replace("displacement_kg = 3000", "displacement_kg = 9000")
    heavy = here_now(OpenLog(log.store, boats.parse(heavier, "boat.toml")), end)
    assert heavy.curve.mean_w(np.array([2.0])) > 1.2 * before.curve.mean_w(np.array([2.0]))
    assert here_now(log, end).charge.soc == approx(before.charge.soc, abs=1e-6)
    assert charges(twice) == []


def test_what_is_kept_of_a_trip_is_written_once(log):
    put(log, QUAY + TRIP)
    refresh.refresh(log)
    written = []
    keep = log.store.put_learned
    log.store.put_learned = lambda key, *rest: (written.append(key), keep(key, *rest))
    put(log, [(0.1, 40.0, 2.0)], full=0.6)
    refresh.refresh(log)
    assert CHARGE in written
    assert CHARGE_BEFORE not in written


def test_what_was_just_looked_through_is_not_followed_again(log, monkeypatch):
    put(log, QUAY + TRIP)
    refresh.refresh(log)
    monkeypatch.setattr(charge_history, "track", None)  # nothing is left to follow
    assert here_now(log, end_us(log)).charge.soc == approx(0.6, abs=0.04)
    assert charge_at(log, end_us(log)) is not None

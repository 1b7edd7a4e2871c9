"""Logs as nobody planned them: channels that come and go, silences, boots without a date.

Every question must answer or say in a sentence why not; no warning and no other fault. Invented.
"""

import os
import warnings

import numpy as np
import pytest

from analyzer.answers import check, hull, range_left, refresh, review
from analyzer.answers.health import now as health
from analyzer.answers.health import trends
from analyzer.errors import AnalyzerError
from analyzer.learned import kept_trips
from analyzer.pack.chemistry import chemistry
from analyzer.series.log import OpenLog
from logger import boat as boats
from logger.errors import LoggerError
from logger.reading import (
    EXACT,
    Block,
    Group,
    UtcFix,
)
from logger.store import Store
from tests.support.small_boat import AH, BOAT_TEXT

LOGS = 60 if os.environ.get("KEELWATT_FULL") else 4
START_US = 1_782_887_400_000_000
HOME = "[home]\nlatitude_deg = 46.0\nlongitude_deg = -23.1\n"
QUESTIONS = {
    "range": range_left.range_left,
    "home": lambda log: range_left.range_left(log, home="straight"),
    "cells": health.cells,
    "cables": health.cables,
    "trips": kept_trips.trips,
    "review": review.review,
    "hull": hull.hull_state,
    "hindcast": lambda log: hull.hindcast_trip(
        log, kept_trips.find_trip(log, None), 600.0, lambda _share: None
    ),
    "health": trends.pack,
    "check": lambda log: check.check(log.boat, log.store),
}


def stretch(rng, charge):
    """Readings of a while, a second apart, and the charge after it."""
    n = int(rng.choice([1, 2, 5, 60, 600, 3600, 7200]))
    load = float(rng.choice([0, 1, -40, -2, 40, 80, 200]))
    amps = load * (1 + 0.1 * rng.standard_normal(n))
    soc = np.clip(charge - np.cumsum(amps) / 3600 / AH, -0.05, 1.02)
    moves = load > 10
    return {
        "pack_voltage_v": 16 * (chemistry("lfp").ocv_v(soc) - 5e-4 * amps),
        "pack_current_a": amps,
        "pack_soc_frac": soc,
        "pack_temp_c": np.full(n, 20.0),
        "speed_ground_mps": np.full(n, 2.0 * moves) + 0.02 * rng.standard_normal(n) ** 2,
        "shaft_speed_rps": np.full(n, 15.0 * moves),
        "course_ground_deg": np.full(n, 40.0),
        "heading_true_deg": np.full(n, 42.0),
        "latitude_deg": 46 + 2e-5 * np.arange(n) * moves,
        "longitude_deg": np.full(n, -23.0),
        "wind_speed_true_mps": np.full(n, 5.0),
        "wind_direction_true_deg": np.full(n, 200.0),
        "solar_power_w": np.full(n, 50.0),
    }, float(np.clip(soc[-1], 0, 1))


def fill(log, rng):
    """Some boots, each with channels of its own."""
    charge, time_s = rng.uniform(0.1, 1.0), 0.0
    for boot in range(rng.integers(1, 5)):
        dated = rng.random() < 0.7
        writer = log.store.writer(f"boot {boot}")
        if dated:
            writer.add(UtcFix(0, START_US, "file", 1.0))
        at_s = time_s if dated else 0.0
        every = stretch(np.random.default_rng(0), 0.5)[0]
        names = tuple(name for name in every if rng.random() < 0.8) or ("pack_voltage_v",)
        group = Group(f"test/{boot}", names, (EXACT,) * len(names))
        for _ in range(rng.integers(1, 6)):
            read, charge = stretch(rng, charge)
            table = np.column_stack([read[name] for name in names])
            table[rng.random(table.shape) < rng.choice([0, 0, 0.05, 0.5])] = np.nan
            if rng.random() < 0.2:
                table[:, rng.integers(len(names))] = np.nan
            t_us = ((at_s + np.arange(len(table))) * 1e6).astype(np.int64)
            writer.add(Block(group, t_us, table))
            more_s = len(table) + float(rng.choice([0, 0, 1, 100, 2000, 10_000, 90_000]))
            at_s, time_s = at_s + more_s, time_s + more_s
        writer.close()
        if rng.random() < 0.5:
            refresh.refresh(log)


@pytest.mark.parametrize("number", range(LOGS))
def test_every_question_of_an_odd_log_is_answered(tmp_path, number):
    rng = np.random.default_rng(number)
    with (
        Store.open(tmp_path / "log.sqlite", write=True) as store,
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("error", RuntimeWarning)
        store.save_boat(BOAT_TEXT, 1)
        log = OpenLog(store, boats.parse(BOAT_TEXT + HOME, "boat.toml"))
        fill(log, rng)
        refresh.refresh(log)
        said = {}
        for name, ask in QUESTIONS.items():
            try:
                said[name] = ask(log)
            except (AnalyzerError, LoggerError) as error:
                said[name] = str(error)
    assert all(said[name] is not None for name in QUESTIONS)
    assert not [name for name in ("range", "trips", "check") if isinstance(said[name], str)]

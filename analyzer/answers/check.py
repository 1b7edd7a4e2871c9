"""`keelwatt check`: what arrives, whether it makes sense, and what it can answer."""

from collections.abc import Sequence

import numpy as np

from analyzer.check import boat_findings, coverage, recorder
from analyzer.estimation.detection import Detection
from analyzer.estimation.ground import standing_of
from analyzer.estimation.results import (
    ChannelRow,
    CheckAnswer,
    QuestionRow,
)
from analyzer.grounds.decide import grounds
from analyzer.grounds.plausible import REVERSED
from analyzer.grounds.wiring_tests import wiring_tests
from analyzer.pack.shunt_sense import Test
from logger import channels, device_states
from logger.boat import Boat
from logger.store import Store

RATE_OVER_S = 60.0  # assumed
HEALTH = "health_"


def check(
    boat: Boat,
    store: Store | None = None,
    devices: Sequence[str] = (),
    now_us: int | None = None,
    promised: frozenset[str] = frozenset(),
) -> CheckAnswer:
    """What is there, what is wrong, what can be answered.

    Args:
        boat: The boat file.
        store: The log, if there is one yet.
        devices: Ports and buses found on this computer, as text.
        now_us: To tell ages from, on the log's timeline; None: the newest reading. [µs]
        promised: Channels that count as arriving though nothing has come yet.
    """
    rows = _channel_rows(store, now_us) if store else ()
    arriving = promised | frozenset(row.name for row in rows)
    tests = wiring_tests(boat, store) if store else ()
    found = [test.finding for test in tests if test.finding is not None]
    if store:
        found += _reception(store, rows)
    standings = _standings(store, boat, found) if store else coverage.Standings()
    return CheckAnswer(
        boat=boat.name,
        devices=tuple(devices),
        channels=rows,
        missing_channels=coverage.missing(boat, arriving),
        findings=(*found, *recorder.untold_sense(arriving), *boat_findings.findings(boat)),
        questions=(*coverage.questions(boat, arriving, standings), *map(_test_row, tests)),
        grounds=standings.rows,
    )


def _standings(store: Store, boat: Boat, found: Sequence[Detection]) -> coverage.Standings:
    """How the log's inputs stand, and what of it keeps the range from being told."""
    span = store.span()
    if span is None:
        return coverage.Standings()
    end_us = span[1] + 1
    rows = grounds(store, boat, end_us)
    current = standing_of(rows, "pack current")
    wrong = any(finding.kind == "shunt_reversed" for finding in found)
    wrong |= current is not None and current.by.startswith(REVERSED)
    why = "a pack current with the right sign" if wrong else ""
    return coverage.Standings(rows, end_us / 1e6, why)


def _reception(store: Store, rows: tuple[ChannelRow, ...]) -> tuple[Detection, ...]:
    said = store.health().get("recorder")
    disk = [row.value for row in rows if row.name == "health_log_disk_left_frac"]
    found = recorder.findings(said.value if said else {}, disk[0] if disk else None)
    return (*found, *recorder.dating(store.boots()))


def _test_row(test: Test) -> QuestionRow:
    return QuestionRow(test.question, test.verdict != "cannot say", f"{test.verdict}: {test.text}")


def _channel_rows(store: Store, now_us: int | None) -> tuple[ChannelRow, ...]:
    spans = store.channels()
    if not spans:
        return ()
    now = now_us if now_us is not None else max(span.last_us for span in spans.values())
    order = {name: number for number, name in enumerate(channels.CATALOGUE)}
    names = sorted(spans, key=lambda n: (n.startswith(HEALTH), order.get(n, len(order)), n))
    return tuple(_channel_row(store, n, spans[n].unit, spans[n].last_us, now) for n in names)


def _channel_row(store: Store, name: str, unit: str, last_us: int, now_us: int) -> ChannelRow:
    """The rate is that of the channel's own last minute: a channel gone silent keeps it."""
    start_us = last_us - round(RATE_OVER_S * 1e6)
    t_us, values = store.read(name, start_us, last_us + 1)
    seen_s = (t_us[-1] - t_us[0]) / 1e6 if len(t_us) > 1 else 0.0
    known = channels.find(name)
    ok = np.isfinite(values)
    last = float(values[ok][-1]) if ok.any() else None
    return ChannelRow(
        name=name,
        text=_text(known.text if known else "", device_states.words(name, last)),
        unit=unit,
        rate_hz=(len(t_us) - 1) / float(seen_s) if seen_s > 0 else None,
        age_s=(now_us - last_us) / 1e6,
        value=last,
    )


def _text(text: str, state: str) -> str:
    """What a channel is, and the state that its number stands for."""
    return f"{text}: {state}" if state else text

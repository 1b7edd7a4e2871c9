"""`keelwatt check`: what arrives, whether it makes sense, and what it can answer."""

from collections.abc import Sequence

import numpy as np

from analyzer.check import boat_findings, coverage, recorder, wiring
from analyzer.estimation.results import (
    ChannelRow,
    CheckAnswer,
    Finding,
    QuestionRow,
)
from analyzer.pack.cell_model import chemistry
from analyzer.pack.shunt_sense import Test, shunt_sense
from analyzer.series.operating import at_rest
from analyzer.series.series import Series, load
from logger import channels
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage
from logger.store import Store
from logger.units import HOUR_S

LOOK_BACK_S = 12 * HOUR_S  # wiring is tested on the newest part of the log
RATE_OVER_S = 60.0
REST_S = 1200.0
READING_SD_V = 0.004  # per cell, of a shunt monitor or a cell monitor (common practice, no source)
HEALTH = "health_"


def check(
    boat: Boat,
    store: Store | None = None,
    devices: Sequence[str] = (),
    now_us: int | None = None,
) -> CheckAnswer:
    """What is there, what is wrong, what can be answered.

    Args:
        boat: The boat file.
        store: The log, if there is one yet.
        devices: Ports and buses found on this computer, as text.
        now_us: To tell ages from, on the log's timeline; None: the newest reading. [µs]
    """
    rows = _channel_rows(store, now_us) if store else ()
    arriving = frozenset(row.name for row in rows)
    tests = _wiring_tests(boat, store) if store else ()
    found = [test.finding for test in tests if test.finding is not None]
    if store:
        found += _reception(store, rows)
    return CheckAnswer(
        boat=boat.name,
        devices=tuple(devices),
        channels=rows,
        missing_channels=coverage.missing(boat, arriving),
        findings=(*found, *boat_findings.findings(boat)),
        questions=(*coverage.questions(boat, arriving), *map(_test_row, tests)),
    )


def _reception(store: Store, rows: tuple[ChannelRow, ...]) -> tuple[Finding, ...]:
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
    return ChannelRow(
        name=name,
        text=known.text if known else "",
        unit=unit,
        rate_hz=(len(t_us) - 1) / float(seen_s) if seen_s > 0 else None,
        age_s=(now_us - last_us) / 1e6,
        value=float(values[ok][-1]) if ok.any() else None,
    )


def _wiring_tests(boat: Boat, store: Store) -> tuple[Test, ...]:
    span = store.span()
    if span is None:
        return ()
    start_us = max(span[0], span[1] - round(LOOK_BACK_S * 1e6))
    cells = [cell_voltage(n + 1) for n in range(boat.pack.cells_in_series)]
    blocks = [block_voltage(n + 1) for n in range(boat.pack.blocks_in_series or 0)]
    names = [*_NAMES, *cells, *blocks]
    series = load(store, names, start_us, span[1] + 1)
    tests = [*_pack_tests(boat, series)]
    for part, family in (("cell", cells), ("block", blocks)):
        if family and series.has(*family) and series.has("pack_voltage_v"):
            parts = np.array([series.get(name) for name in family])
            pack_v = series.get("pack_voltage_v")
            count = boat.pack.cells_in_series
            tests.append(wiring.cells_against_pack(parts, pack_v, part, count))
    return (*tests, *_motion_tests(boat, series))


_NAMES = (
    "pack_voltage_v",
    "pack_current_a",
    "pack_soc_frac",
    "pack_temp_c",
    "latitude_deg",
    "longitude_deg",
    "speed_ground_mps",
    "shaft_speed_rps",
    "motor_speed_rps",
)


def _pack_tests(boat: Boat, series: Series) -> list[Test]:
    pack, kind = boat.pack, chemistry(boat.pack.chemistry)
    tests = []
    volts, amps = series.get("pack_voltage_v"), series.get("pack_current_a")
    if series.has("pack_voltage_v"):
        low_v, high_v = pack.cell_cutoff_v or kind.cutoff_v, pack.cell_full_v or kind.full_v
        tests.append(wiring.pack_voltage_range(volts, pack.cells_in_series, low_v, high_v))
    if series.has("pack_voltage_v", "pack_current_a"):
        tests.append(shunt_sense(volts, amps, series.step_s, pack.rated_capacity_ah))
        tests.append(_rests_test(boat, series))
    if series.has("pack_current_a", "pack_soc_frac"):
        soc = series.get("pack_soc_frac")
        tests.append(wiring.charge_against_device(amps, soc, series.step_s, pack.rated_capacity_ah))
    return tests


def _motion_tests(boat: Boat, series: Series) -> list[Test]:
    tests = []
    if series.has("latitude_deg", "longitude_deg", "speed_ground_mps"):
        lat, lon = series.get("latitude_deg"), series.get("longitude_deg")
        speed = series.get("speed_ground_mps")
        tests.append(wiring.speed_against_position(lat, lon, speed, series.step_s))
    if series.has("shaft_speed_rps", "motor_speed_rps"):
        shaft, motor = series.get("shaft_speed_rps"), series.get("motor_speed_rps")
        tests.append(wiring.gear(shaft, motor, boat.motor.gear_ratio))
    return tests


def _rests_test(boat: Boat, series: Series) -> Test:
    """Charge counted between the first and the last long rest against what their voltages say."""
    question = "Does charge counted agree with the rests before and after?"
    amps = series.get("pack_current_a")
    quiet = at_rest(series, boat.pack)
    rests = [(a, b) for a, b in wiring.runs(quiet) if (b - a) * series.step_s >= REST_S]
    if len(rests) < 2:
        return Test(question, "cannot say", "wants two rests of 20 minutes with a run in between")
    first, last = rests[0][1] - 1, rests[-1][1] - 1
    between = amps[first:last]
    if np.isnan(between).mean() > 0.02:
        return Test(question, "cannot say", "the current has gaps between the rests")
    counted_ah = float(np.nansum(between)) * series.step_s / HOUR_S
    before, after = (_soc_allowed(boat, series, index) for index in (first, last))
    return wiring.charge_between_rests(before, after, counted_ah / boat.pack.rated_capacity_ah)


def _soc_allowed(boat: Boat, series: Series, index: int) -> tuple[float, float]:
    """Lowest and highest state of charge that the voltage at the end of a rest allows."""
    kind = chemistry(boat.pack.chemistry)
    volts = series.get("pack_voltage_v")[max(index - 60, 0) : index + 1]
    temps = series.get("pack_temp_c")
    temp_c = float(np.nanmedian(temps)) if np.isfinite(temps).any() else 25.0
    if not np.isfinite(volts).any():
        return 0.0, 1.0
    cell_v = float(np.nanmedian(volts)) / boat.pack.cells_in_series
    room_v = 2.0 * float(np.hypot(kind.curve_sd_v, READING_SD_V))
    low = float(kind.soc_at(cell_v - room_v, temp_c, 1.0))
    high = float(kind.soc_at(cell_v + room_v, temp_c, -1.0))
    return low, high

"""The tests of the wiring's sense over the newest part of a log."""

import numpy as np

from analyzer.grounds import wiring
from analyzer.grounds.compass import compass
from analyzer.grounds.current_scale import current_scale
from analyzer.pack.cell_model import chemistry
from analyzer.pack.shunt_sense import Test, shunt_sense
from analyzer.series.operating import at_rest, first_finite
from analyzer.series.series import Series, load
from logger.boat import Boat
from logger.channels import block_voltage, cell_voltage
from logger.store import Store
from logger.units import HOUR_S

LOOK_BACK_S = 12 * HOUR_S  # wiring is tested on the newest part of the log; assumed
REST_S = 1200.0  # a rest that a voltage may be read after (assumed)
READING_SD_V = 0.004  # per cell, of a shunt monitor or a cell monitor (common practice, no source)


def wiring_tests(boat: Boat, store: Store, end_us: int | None = None) -> tuple[Test, ...]:
    """All that can be tested with what arrives.

    Args:
        end_us: Where the newest part ends, on the timeline; None: with the log. [µs]
    """
    span = store.span()
    if span is None:
        return ()
    end_us = span[1] + 1 if end_us is None else end_us
    start_us = max(span[0], end_us - round(LOOK_BACK_S * 1e6))
    cells = [cell_voltage(n + 1) for n in range(boat.pack.cells_in_series)]
    blocks = [block_voltage(n + 1) for n in range(boat.pack.blocks_in_series or 0)]
    names = [*_NAMES, *cells, *blocks]
    series = load(store, names, start_us, end_us)
    tests = _pack_tests(boat, series)
    pack_v = series.get("pack_voltage_v")
    count = boat.pack.cells_in_series
    for part, family in (("cell", cells), ("block", blocks)):
        if family and series.has(*family, "pack_voltage_v"):
            parts = np.array([series.get(name) for name in family])
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
    "course_ground_deg",
    "heading_true_deg",
    "heading_magnetic_deg",
    "shaft_speed_rps",
    "motor_speed_rps",
)


def _pack_tests(boat: Boat, series: Series) -> list[Test]:
    pack = boat.pack
    kind = chemistry(pack.chemistry)
    tests = []
    volts = series.get("pack_voltage_v")
    amps = series.get("pack_current_a")
    if series.has("pack_voltage_v"):
        low_v = pack.cell_cutoff_v or kind.cutoff_v
        high_v = pack.cell_full_v or kind.full_v
        tests.append(wiring.pack_voltage_range(volts, pack.cells_in_series, low_v, high_v))
    if series.has("pack_voltage_v", "pack_current_a"):
        tests.append(shunt_sense(volts, amps, series.step_s, pack.rated_capacity_ah))
        tests.append(current_scale(volts, amps, series.step_s, pack))
        tests.append(_rests_test(boat, series))
    if series.has("pack_current_a", "pack_soc_frac"):
        soc = series.get("pack_soc_frac")
        tests.append(wiring.charge_against_device(amps, soc, series.step_s, pack.rated_capacity_ah))
    return tests


def _motion_tests(boat: Boat, series: Series) -> list[Test]:
    tests = []
    if series.has("latitude_deg", "longitude_deg", "speed_ground_mps"):
        lat = series.get("latitude_deg")
        lon = series.get("longitude_deg")
        speed = series.get("speed_ground_mps")
        tests.append(wiring.speed_against_position(lat, lon, speed, series.step_s))
    heading_deg = first_finite(series, ("heading_true_deg", "heading_magnetic_deg"))
    if np.isfinite(heading_deg).any() and series.has("course_ground_deg", "speed_ground_mps"):
        ground = series.get("course_ground_deg"), series.get("speed_ground_mps")
        tests.append(compass(heading_deg, *ground, series.step_s))
    if series.has("shaft_speed_rps", "motor_speed_rps"):
        shaft = series.get("shaft_speed_rps")
        motor = series.get("motor_speed_rps")
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

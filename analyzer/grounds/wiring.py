"""Whether what arrives makes sense: cells against pack, charge counted against charge seen, speed
against position. The shunt's sense: `pack/shunt_sense.py`.

Each test takes numbers and returns a `Test`; "cannot say" with its reason is a good result.
"""

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.pack.shunt_sense import CAUTION, Test, wrong
from analyzer.series.series import Floats
from logger.units import HOUR_S

EARTH_M_PER_DEG = 111_195.0  # on the WGS 84 ellipsoid's mean sphere of 6371 km


def cells_against_pack(parts_v: Floats, pack_v: Floats, part: str, cells: int) -> Test:
    """Do the cells (or blocks) add up to the pack?

    Args:
        parts_v: Every cell's or block's voltage, shape (parts, n), NaN where missing.
        pack_v: The pack's, shape (n,).
        part: "cell" or "block", for the sentences.
        cells: Cells in series, over all parts.
    """
    question = f"Do the {part}s add up to the pack?"
    total = parts_v.sum(axis=0)  # NaN where one is missing
    ok = np.isfinite(total) & np.isfinite(pack_v)
    if np.count_nonzero(ok) < 10:
        return Test(question, "cannot say", f"not all {part}s and the pack were seen together")
    gap = float(np.median(pack_v[ok] - total[ok]))
    pack = float(np.median(pack_v[ok]))
    text = f"The {part}s add up to {pack - gap:.2f} V, the pack shows {pack:.2f} V."
    if abs(gap) <= max(0.006 * pack, 0.005 * cells):
        return Test(question, "right", text)
    one = (pack - gap) / parts_v.shape[0]
    count = round(gap / one)
    if count and abs(gap - count * one) < 0.15 * one:
        said = (
            f"{abs(count)} {part}{'s' if abs(count) > 1 else ''} too {'few' if gap > 0 else 'many'}"
        )
        why, cure = f" That is {said}.", f"Look at which {part}s are mapped in the boat file."
    else:
        why = f" They differ by {100 * gap / pack:+.1f} %."
        cure = "One of the two is scaled wrongly, or its sense lead has a bad joint."
    size = Estimate(gap, None, None, "V")
    return wrong(
        question,
        Detection("pack voltage", "cells_do_not_add_up", text + why, 0.9, size, cure, CAUTION),
    )


def pack_voltage_range(pack_v: Floats, cells: int, low_v: float, high_v: float) -> Test:
    """Does the pack's voltage suit its number of cells?

    Args:
        pack_v: Shape (n,), NaN where missing.
        low_v, high_v: What one cell can have.
    """
    question = "Does the pack's voltage suit its number of cells?"
    ok = np.isfinite(pack_v)
    if not ok.any():
        return Test(question, "cannot say", "no pack voltage arrives")
    each = float(np.median(pack_v[ok])) / cells
    text = f"The pack shows {each * cells:.1f} V, {each:.2f} V for each of {cells} cells."
    if 0.9 * low_v <= each <= 1.05 * high_v:
        return Test(question, "right", text)
    return wrong(
        question,
        Detection(
            "pack voltage",
            "voltage_impossible",
            f"{text} A cell has {low_v:.2f} to {high_v:.2f} V.",
            0.95,
            Estimate(each, None, None, "V"),
            "Correct cells_in_series in the boat file, or the scale of the voltage.",
            CAUTION,
        ),
    )


def charge_against_device(
    current_a: Floats, soc_frac: Floats, step_s: float, capacity_ah: float
) -> Test:
    """Does the charge counted agree with the charge that a device on board reports?

    Args:
        current_a, soc_frac: On one even grid, NaN where missing, shape (n,).
        step_s: The grid's step. [s]
    """
    question = "Does charge counted agree with the device's state of charge?"
    both = np.isfinite(current_a) & np.isfinite(soc_frac)
    covariance = variance = seen = 0.0
    for start, stop in runs(both):
        counted = np.cumsum(current_a[start:stop]) * step_s / HOUR_S / capacity_ah
        shown = soc_frac[start:stop]
        counted, shown = counted - counted.mean(), shown - shown.mean()
        covariance += float(counted @ shown)
        variance += float(counted @ counted)
        seen = max(seen, float(np.ptp(shown)), float(np.ptp(counted)))
    if seen < 0.05:
        return Test(question, "cannot say", "the charge has changed by less than 5 % so far")
    if variance == 0.0:
        return Test(question, "cannot say", "no current was counted while the charge changed")
    return _judged_charge(question, -covariance / variance)


def _judged_charge(question: str, ratio: float) -> Test:
    text = f"For 1 % of the rated capacity counted, the device's charge moves by {ratio:.2f} %."
    if 0.8 <= ratio <= 1.25:
        return Test(question, "right", text)
    if ratio < 0:
        why, kind = " They go opposite ways.", "charge_opposite"
        cure = "One of the two currents has the wrong sign: do the test of the shunt first."
    else:
        why, kind = " They should be near 1.", "charge_disagrees"
        cure = (
            "The current's scale, the rated capacity in the boat file or the device's own capacity "
            "setting is wrong, or the pack has aged."
        )
    size = Estimate(ratio, None, None, "frac")
    return wrong(question, Detection("charge", kind, text + why, 0.85, size, cure, CAUTION))


def charge_between_rests(
    before: tuple[float, float], after: tuple[float, float], counted_frac: float
) -> Test:
    """Does the charge counted agree with what two long rests show?

    Args:
        before, after: Lowest and highest state of charge that each rest's voltage allows. [frac]
        counted_frac: Charge counted out of the pack between them, of the rated capacity. [frac]
    """
    question = "Does charge counted agree with the rests before and after?"
    low, high = before[0] - after[1], before[1] - after[0]
    shown = f"{round(100 * low)} to {round(100 * high)} %"
    text = f"{round(100 * counted_frac)} % were counted out; the rest voltages allow {shown}."
    allowance = 0.05 + 0.15 * abs(counted_frac)  # capacity and shunt are never exact
    if low - allowance <= counted_frac <= high + allowance:
        if high - low > 0.35:
            return Test(question, "cannot say", f"{text} That is too wide to tell.")
        return Test(question, "right", text)
    size = Estimate(counted_frac, low, high, "frac")
    cure = "Look at the current's sign and scale and at the rated capacity in the boat file."
    return wrong(question, Detection("charge", "charge_disagrees", text, 0.8, size, cure, CAUTION))


def speed_against_position(
    latitude_deg: Floats, longitude_deg: Floats, speed_mps: Floats, step_s: float
) -> Test:
    """Is the reported speed over ground the speed at which the position moves?

    Args:
        latitude_deg, longitude_deg, speed_mps: On one even grid, NaN where missing, shape (n,).
    """
    question = "Is the speed over ground in the right unit?"
    lag = max(round(30.0 / step_s), 1)
    lat, lon = latitude_deg[::lag], longitude_deg[::lag]
    north = np.diff(lat) * EARTH_M_PER_DEG
    east = np.diff(lon) * EARTH_M_PER_DEG * np.cos(np.radians(lat[:-1]))
    moved = np.hypot(north, east) / (lag * step_s)
    sums = np.convolve(speed_mps, np.ones(lag), mode="valid")[::lag] / lag
    n = min(len(moved), len(sums))
    moved, said = moved[:n], sums[:n]
    ok = np.isfinite(moved) & np.isfinite(said) & (moved > 0.7) & (said > 0)
    if np.count_nonzero(ok) < 6:
        return Test(question, "cannot say", "the boat has not moved steadily for some minutes yet")
    ratio = float(np.median(said[ok] / moved[ok]))
    text = f"The speed is {ratio:.2f} times that at which the position moves."
    if 0.85 <= ratio <= 1.3:  # a wandering course only makes it larger
        return Test(question, "right", text)
    cure = "Correct the unit of speed_ground_mps in the boat file (kn, km/h or m/s)."
    size = Estimate(ratio, None, None, "frac")
    return wrong(question, Detection("speed over ground", "speed_unit", text, 0.9, size, cure, ""))


def gear(shaft_rps: Floats, motor_rps: Floats, ratio: float) -> Test:
    """Do motor and shaft turn as the gear ratio says?"""
    question = "Do motor and shaft turn as the gear ratio says?"
    ok = np.isfinite(shaft_rps) & np.isfinite(motor_rps) & (np.abs(shaft_rps) > 1.0)
    if np.count_nonzero(ok) < 10:
        return Test(question, "cannot say", "motor and shaft were not seen turning together")
    found = float(np.median(np.abs(motor_rps[ok] / shaft_rps[ok])))
    text = f"The motor turns {found:.2f} times per shaft turn, the boat file says {ratio:.2f}."
    if abs(found / ratio - 1) <= 0.05:
        return Test(question, "right", text)
    size = Estimate(found, None, None, "frac")
    cure = "Correct gear_ratio in the boat file, or the scale of one of the two speeds."
    return wrong(question, Detection("motor", "gear_ratio", text, 0.9, size, cure, ""))


def runs(mask: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """Start and stop (not included) of each stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]

"""Whether the pack's voltage answers its current as such a pack's does: scale, unit, noise.

A step of the current moves the voltage by the resistance. The label's chemistry and ampere-hours
tell that to a factor; a current read ten times too large makes a pack of a tenth of it, as no pack
is. A current that goes up and down by itself moves nothing, and its means over a minute do.
"""

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.pack.cell_model import chemistry, default_params
from analyzer.pack.shunt_sense import CAUTION, STEADY, SURE_Z, Test, volts_per_ampere, wrong
from analyzer.series.series import Floats
from logger.boat import Pack

QUESTION = "Does the voltage answer the current as such a pack's does?"
# Measured over expected. A resistance is known to a factor of 1.35 (`range.inputs`): four of
# them are 0.3 and 3.3; cold and age make it three times larger besides, nothing makes it smaller.
FACTOR = (0.3, 10.0)  # assumed
SLOWER = 4.0  # more than diffusion makes the resistance over a minute (assumed)
MINUTE_S = 60.0  # over which a current's own noise is gone (assumed)
SCALE, NOISY = "current_scale", "current_noisy"


def current_scale(voltage_v: Floats, current_a: Floats, step_s: float, pack: Pack) -> Test:
    """Does the voltage move with the current, and as far as it should?

    Args:
        voltage_v, current_a: At the pack, on one even grid, NaN where missing, shape (n,).
        step_s: The grid's step. [s]
    """
    ah = pack.rated_capacity_ah
    at_once = volts_per_ampere(voltage_v, current_a, step_s, ah)
    if at_once is None:
        return Test(QUESTION, "cannot say", STEADY)
    slowly = volts_per_ampere(voltage_v, current_a, step_s, ah, MINUTE_S)
    expected_ohm = _expected_ohm(pack, float(np.nanmean(np.abs(current_a))))
    text = (
        f"Voltage falls by {-at_once[0] * 1e4:.0f} mV for each 10 A, "
        f"such a pack's by about {expected_ohm * 1e4:.0f}."
    )
    if _factor(at_once, expected_ohm)[0] > FACTOR[1]:
        return _found(SCALE, text, "less than it is", at_once)
    if _factor(at_once, expected_ohm)[1] >= FACTOR[0]:
        return Test(QUESTION, "right", text)
    if slowly is None:
        return Test(QUESTION, "cannot say", STEADY)
    # Diffusion makes the slow resistance up to three times the quick one; noise makes it more.
    if abs(slowly[0]) > SLOWER * abs(at_once[0]):
        return _found(NOISY, text, "up and down where it is steady", at_once)
    return _found(SCALE, text, "more than it is", at_once)


def _expected_ohm(pack: Pack, usual_a: float) -> float:
    """What a step of the load sees of such a pack at its usual current. [ohm]"""
    kind, ah = chemistry(pack.chemistry), pack.rated_capacity_ah
    cell_ohm = default_params(pack).r0_ohm + kind.activation_ohm(usual_a, ah)
    return cell_ohm * pack.cells_in_series


def _factor(measured: tuple[float, float], expected_ohm: float) -> tuple[float, float]:
    """Lowest and highest resistance that steps allow, over the expected one; without its sign."""
    slope, error = measured
    size, room = abs(slope), SURE_Z * error
    return (size - room) / expected_ohm, (size + room) / expected_ohm


def _found(kind: str, text: str, shown: str, measured: tuple[float, float]) -> Test:
    slope, error = measured
    ohm = Estimate(-slope, -slope - Z80 * error, -slope + Z80 * error, "ohm")
    why = f"{text} The current is shown {shown}."
    cure = "Look at the current's unit and scale in the boat file, and at the shunt's sense leads."
    return wrong(QUESTION, Detection("pack current", kind, why, 0.9, ohm, cure, CAUTION))

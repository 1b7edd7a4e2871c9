"""Whether the shunt is the right way round: a pack's voltage falls when it gives more.

Steps of current are compared with the steps of voltage beside them by least squares, so that the
curve at rest, which moves slowly, does not matter.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.estimation.quantiles import Z80
from analyzer.series.series import Bools, Floats
from analyzer.series.steps import whole_steps

CAUTION = (
    "Before touching a shunt or a sense lead: isolate the pack and prove it dead, insulated "
    "tools, no rings or watches; a qualified electrician where you are not sure."
)
# Means over this are compared, as frames of one moment need not come together; assumed.
LAG_S = 5.0
SURE_Z = 4.0  # standard errors from zero: 1 in 30 000 by chance
# Below so many steps chance alone may line them up, unless each of some few, larger than anything
# between the steps, tells the same; assumed.
FEWEST_STEPS, FEW_STEPS = 8, 3
STEADY = "the current has not changed enough; run the motor up and down for a minute"
STEP_C = 0.02  # a change of current that counts as a step, as a share of Ah: assumed


@dataclass(frozen=True)
class Test:
    """What one test of the wiring found.

    Args:
        question: What was tested.
        verdict: "cannot say" where the log does not hold what the test wants.
        text: What was measured, or why nothing can be said.
        finding: What is wrong, where something is.
    """

    __test__ = False  # pytest: not one of its own

    question: str
    verdict: Literal["right", "wrong", "cannot say"]
    text: str
    finding: Detection | None = None


def wrong(question: str, finding: Detection) -> Test:
    """The test that came out wrong, by its finding."""
    return Test(question, "wrong", finding.text, finding)


def shunt_sense(voltage_v: Floats, current_a: Floats, step_s: float, capacity_ah: float) -> Test:
    """Does the voltage fall when the current out of the pack rises? Else the shunt is reversed.

    Args:
        voltage_v, current_a: At the pack, on one even grid, NaN where missing, shape (n,).
        step_s: The grid's step. [s]
        capacity_ah: Sets what counts as a step of current: 2 % of it, in amperes.
    """
    question = "Is the shunt the right way round?"
    answer = volts_per_ampere(voltage_v, current_a, step_s, capacity_ah)
    if answer is None:
        return Test(question, "cannot say", STEADY)
    slope, error = answer
    if abs(slope) < SURE_Z * max(error, 1e-12):
        return Test(question, "cannot say", "voltage and current do not move together clearly")
    ohm = Estimate(-slope, -slope - Z80 * error, -slope + Z80 * error, "ohm")
    text = f"Voltage {'falls' if slope < 0 else 'rises'} by {abs(slope) * 1e4:.0f} mV for each 10 A"
    if slope < 0:
        return Test(question, "right", f"{text} that the pack gives.", None)
    return wrong(question, _reversed(f"{text} that the pack is said to give.", ohm))


def volts_per_ampere(
    voltage_v: Floats, current_a: Floats, step_s: float, capacity_ah: float, over_s: float = LAG_S
) -> tuple[float, float] | None:
    """Change of the voltage for a step of the current, and its standard error. [ohm], [ohm]

    Below 0 at a pack. None where the current made too few steps.

    Args:
        over_s: Means over so long are compared. The others as for `shunt_sense`.
    """
    size = max(round(over_s / step_s), 1)
    dv, di = (np.diff(whole_steps(v, size).mean(axis=1)) for v in (voltage_v, current_a))
    ok = np.isfinite(dv) & np.isfinite(di)
    dv, di = dv[ok], di[ok]
    step = np.abs(di) >= STEP_C * capacity_ah
    if np.count_nonzero(step) < FEWEST_STEPS and not _all_tell(dv, di, step):
        return None
    # differences of means: the curve at rest moves slowly, and leaves them
    slope = float(di @ dv / (di @ di))
    residual = dv - slope * di
    error = math.sqrt(float(residual @ residual) / (len(dv) - 1) / float(di @ di))
    return slope, error


def _all_tell(dv: Floats, di: Floats, step: Bools) -> bool:
    """Whether each of the few steps moves the voltage, all the same way, as nothing else does."""
    if np.count_nonzero(step) < FEW_STEPS or step.all():
        return False
    moved = dv[step] * np.sign(di[step])
    between_v = float(np.abs(dv[~step]).max())
    beyond = np.abs(moved) > max(between_v, SURE_Z * float(dv[~step].std()))
    return bool(beyond.all() and abs(np.sign(moved).sum()) == len(moved))


def _reversed(text: str, ohm: Estimate) -> Detection:
    return Detection(
        "shunt",
        "shunt_reversed",
        f"{text} A pack's voltage falls when it gives: the current's sign is the wrong way round.",
        0.99,
        ohm,
        "Set sign = -1 (or turn the 1 round) for this current in the boat file, or swap the two "
        "thin sense leads at the shunt.",
        CAUTION,
    )

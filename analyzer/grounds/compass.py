"""Whether the compass turns with the boat: a heading that jumps on a straight course is wrong.

Who puts iron beside a compass turns it at once, and the course over ground goes on. A boat that
turns changes both, a stream that turns it takes minutes.
"""

import numpy as np

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.pack.shunt_sense import Test, wrong
from analyzer.series.series import Bools, Floats
from analyzer.series.steps import whole_steps

# All assumed: means over so long are compared, one apart, so that the turn itself is in neither;
# so far the heading must jump; for so long about it the course held, within this scatter, at a
# speed at which a receiver knows its course.
MEAN_S, HELD_MEANS = 10.0, 6
JUMP_DEG, HELD_DEG = 15.0, 8.0
LEAST_MPS = 1.0


def compass(heading_deg: Floats, course_deg: Floats, speed_mps: Floats, step_s: float) -> Test:
    """Does the heading turn with the course over ground?

    Args:
        heading_deg, course_deg, speed_mps: Of the compass and over ground, on one even grid, NaN
            where missing, shape (n,). step_s: The grid's step. [s]
    """
    question = "Does the compass turn with the course over ground?"
    size = max(round(MEAN_S / step_s), 1)
    bow, way = _means(heading_deg, size), _means(course_deg, size)
    speed = whole_steps(speed_mps, size).mean(axis=1)
    if len(bow) <= 2 * HELD_MEANS:
        return Test(question, "cannot say", "wants two minutes under way")
    jumped_deg = np.degrees(np.angle(bow[2:] * np.conj(bow[:-2])))
    held = _held(way, speed)
    if not held.any():
        return Test(question, "cannot say", "wants two minutes on one course over ground")
    with np.errstate(invalid="ignore"):
        off = np.flatnonzero(held & (np.abs(jumped_deg) > JUMP_DEG))
    if not len(off):
        return Test(question, "right", "The heading never jumped while the course was held.")
    size_deg = float(jumped_deg[off[np.argmax(np.abs(jumped_deg[off]))]])
    return wrong(question, _jumped(size_deg))


def _means(angle_deg: Floats, size: int) -> np.ndarray:
    """Unit vectors of each step's mean, as complex numbers; NaN where a reading is missing."""
    vectors = np.exp(1j * np.radians(angle_deg))
    real, imaginary = (
        whole_steps(part, size).mean(axis=1) for part in (vectors.real, vectors.imag)
    )
    return np.asarray(real + 1j * imaginary)


def _held(way: np.ndarray, speed_mps: Floats) -> Bools:
    """Where the course was one and the boat moved, for a minute to each side, (m - 2,)."""
    wide = 2 * HELD_MEANS + 1
    windows = np.lib.stride_tricks.sliding_window_view(way, wide)
    slow = np.lib.stride_tricks.sliding_window_view(speed_mps, wide).min(axis=1)
    with np.errstate(invalid="ignore"):
        off = np.abs(np.angle(windows * np.conj(windows.mean(axis=1))[:, None])).max(axis=1)
        inside = (off < np.radians(HELD_DEG)) & (slow > LEAST_MPS)
    held = np.zeros(len(way), dtype=bool)
    held[HELD_MEANS : HELD_MEANS + len(inside)] = inside
    return held[1:-1]


def _jumped(size_deg: float) -> Detection:
    text = (
        f"The heading jumped by {abs(size_deg):.0f}° while the course over ground was held for a "
        "minute before and after."
    )
    return Detection(
        "compass",
        "compass_jump",
        text,
        0.95,
        Estimate(abs(size_deg), None, None, "deg"),
        "Look for iron, a loudspeaker or a cable that came near the compass; set it up again.",
        "Do not steer by it until it agrees with the chart.",
    )

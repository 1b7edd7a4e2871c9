"""A propeller's thrust and torque by blade elements and momentum: another physics than a series.

Rings of the disc, each a wing in the water that turns past it; the water's speed through the ring
follows from the ring's own thrust and torque. Source: H. Glauert's strip theory with L. Prandtl's
loss at the tip (textbooks). Section: lift 2 pi a by thin-aerofoil theory with a tenth lost to
friction, drag 0.010 + 0.012 lift² (round figures of such sections, assumed); camber that lifts at
2 degrees less than the pitch's angle (assumed); chords of a usual blade (assumed).
"""

import math

import numpy as np

RINGS = np.linspace(0.22, 0.98, 25)  # of the radius: from the hub to the tip
CAMBER_RAD = math.radians(2.0)
LIFT = 0.9 * 2 * math.pi


def coefficients(
    advance: float, pitch_ratio: float, area: float, blades: int
) -> tuple[float, float]:
    """KT and KQ at an advance. area: of the blades over the disc."""
    chord = area * math.pi / blades * np.sin(np.pi * (RINGS - 0.05)) ** 0.4 / 1.25  # over diameter
    solidity = blades * chord / (np.pi * RINGS)
    pitch = np.arctan(pitch_ratio / (np.pi * RINGS)) + CAMBER_RAD
    low, high = np.full(len(RINGS), 1e-4), pitch.copy()
    for _ in range(60):
        angle = (low + high) / 2
        push, turn, _, _ = _ring(angle, pitch, solidity, blades)
        inflow = advance / (np.pi * RINGS)
        # tan(angle) = inflow (1 + axial) / (1 - turning), without its poles
        more = np.sin(angle) * (1 - push) > inflow * np.cos(angle) * (1 + turn)
        low, high = np.where(more, low, angle), np.where(more, angle, high)
    push, turn, lift, drag = _ring(angle, pitch, solidity, blades)
    speed2 = (inflow / (1 - push)) ** 2 + (1 / (1 + turn)) ** 2  # over (pi n r)²
    push = (lift * np.cos(angle) - drag * np.sin(angle)) * speed2
    turn = (lift * np.sin(angle) + drag * np.cos(angle)) * speed2
    ring = blades * chord * (np.pi * RINGS) ** 2 / 4
    return float(np.trapezoid(push * ring, RINGS)), float(
        np.trapezoid(turn * ring * RINGS / 2, RINGS)
    )


def _ring(
    angle: np.ndarray, pitch: np.ndarray, solidity: np.ndarray, blades: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """What slows and turns the water, lift and drag at inflow angles.

    Axial induction is push / (1 - push), turning turn / (1 + turn).
    """
    lift = LIFT * np.sin(pitch - angle)
    drag = 0.010 + 0.012 * lift**2
    edge = blades / 2 * (1 - RINGS) / (RINGS * np.sin(angle))
    loss = np.maximum(2 / np.pi * np.arccos(np.exp(-np.minimum(edge, 50))), 0.02)
    push = lift * np.cos(angle) - drag * np.sin(angle)
    turn = lift * np.sin(angle) + drag * np.cos(angle)
    a = solidity * push / (4 * loss * np.sin(angle) ** 2)
    b = solidity * turn / (4 * loss * np.sin(angle) * np.cos(angle))
    return a, b, lift, drag


def lines(pitch_ratio: float, area: float, blades: int) -> tuple[float, float, float, float]:
    """KT and KQ as straight lines over the advance at which such propellers drive a boat."""
    at = np.linspace(0.35, 0.8, 10) * pitch_ratio
    rows = np.array([coefficients(float(j), pitch_ratio, area, blades) for j in at])
    thrust, torque = (np.polyfit(at, rows[:, k], 1) for k in (0, 1))
    return float(thrust[1]), float(-thrust[0]), float(torque[1]), float(-torque[0])

"""Propeller, belt, motor and controller of the invented boat.

The propeller has straight thrust and torque lines over the advance ratio (they reach below zero,
where the propeller turns the motor); motor and controller lose power in fixed, speed-, torque-
and current-dependent parts. All figures are invented.
"""

import math
from dataclasses import dataclass

TURN = 2 * math.pi


@dataclass(frozen=True)
class Drive:
    """From the water to the controller's terminals.

    Args:
        kt_0, kt_slope: KT = kt_0 - kt_slope J.
        kq_0, kq_slope: KQ = kq_0 - kq_slope J.
        wake_frac, thrust_loss_frac: Propeller behind the hull.
        belt_frac: Lost in the belt. gear: motor turns per shaft turn.
        standby_w: Controller awake. iron_w_per_rps: at the motor.
        copper_w_per_nm2: Motor torque squared. switching_frac: of the power that passes.
    """

    diameter_m: float
    pitch_m: float
    blades: int
    kt_0: float
    kt_slope: float
    kq_0: float
    kq_slope: float
    wake_frac: float
    thrust_loss_frac: float
    gear: float
    belt_frac: float
    standby_w: float
    iron_w_per_rps: float
    copper_w_per_nm2: float
    switching_frac: float
    rated_power_w: float


def thrust_n(d: Drive, turns_rps: float, speed_mps: float, rho: float) -> float:
    """Net push on the hull. [N]"""
    advance = speed_mps * (1 - d.wake_frac)
    if turns_rps < 0.3:  # locked: the blades stand in the stream
        area = 0.35 * math.pi * d.diameter_m**2 / 4
        return -0.5 * rho * 1.0 * area * advance * abs(advance)
    n, dia = turns_rps, d.diameter_m
    raw = rho * (d.kt_0 * n * n * dia**4 - d.kt_slope * n * advance * dia**3)
    return raw * (1 - d.thrust_loss_frac)


def torque_nm(d: Drive, turns_rps: float, speed_mps: float, rho: float) -> float:
    """Torque the propeller asks of its shaft; negative when the water turns it. [Nm]"""
    if turns_rps < 0.3:
        return 0.0
    advance = speed_mps * (1 - d.wake_frac)
    n, dia = turns_rps, d.diameter_m
    return rho * (d.kq_0 * n * n * dia**5 - d.kq_slope * n * advance * dia**4)


def turns_for(d: Drive, speed_mps: float, resistance_n: float, rho: float) -> float:
    """Shaft speed whose thrust balances a resistance at a speed. [1/s]"""
    advance = speed_mps * (1 - d.wake_frac)
    a = d.kt_0 * d.diameter_m**4
    b = d.kt_slope * advance * d.diameter_m**3
    c = resistance_n / (rho * (1 - d.thrust_loss_frac))
    return (b + math.sqrt(b * b + 4 * a * c)) / (2 * a)


def regeneration_turns(d: Drive, speed_mps: float, slip: float = 1.45) -> float:
    """Shaft speed the controller holds when it brakes the propeller under sail. [1/s]

    slip: advance ratio over the one at which the torque is zero.
    """
    free = d.kq_0 / d.kq_slope
    return speed_mps * (1 - d.wake_frac) / (d.diameter_m * free * slip)


def loss_w(d: Drive, turns_rps: float, torque: float) -> float:
    """All that is lost between the controller's terminals and the shaft. [W]"""
    if turns_rps < 0.3:
        return d.standby_w
    motor_rps = turns_rps * d.gear
    motor_nm = torque / d.gear
    shaft = abs(TURN * turns_rps * torque)
    steady = d.standby_w + d.iron_w_per_rps * motor_rps + d.copper_w_per_nm2 * motor_nm**2
    return steady + (d.belt_frac + d.switching_frac) * shaft


def input_w(d: Drive, turns_rps: float, torque: float) -> float:
    """Power at the controller's terminals; negative when it gives back. [W]"""
    return TURN * turns_rps * torque + loss_w(d, turns_rps, torque)

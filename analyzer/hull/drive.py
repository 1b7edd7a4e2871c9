"""From battery to tow power: motor, controller, gear and propeller, and how far they may differ.

Tow power = battery power x controller x motor x gear x propeller x hull efficiency. As factors:
controller 0.95 to 0.98, motor 0.75 to 0.92, gear 0.95 to 1, propeller 0.45 to 0.70 for the size
that boats carry, hull about 1 (each common practice, no source), together 0.30 to 0.55.

Small electric outboards span more: a maker's own comparison puts the overall efficiency of
trolling motors at 18 % and of its best at 56 % (published as a glossary of power ratings).

Propeller: actuator disc (Rankine, Froude; textbook), eta = 2 / (1 + sqrt(1 + C)), C the thrust
over 1/2 rho A v². It is the most that any propeller of that diameter can reach; real ones stay
below it by a factor that changes little with speed, so it is used for ratios only.
"""

import numpy as np

from analyzer.estimation.quantiles import Z80
from analyzer.hull.power_curve import rank_cov
from analyzer.series.physics import SEA, Water
from analyzer.series.series import Floats
from logger.boat import Boat

# Battery to tow power, eight in ten boats; sources above. Rated power at which either holds, in
# between by its logarithm: assumed, as trolling motors end near the one and inboards begin near
# the other.
EFFICIENCY, SMALL_EFFICIENCY = (0.30, 0.55), (0.18, 0.56)
SMALL_W, LARGE_W = 1000.0, 4000.0
USUAL_FROUDE = 0.28  # where those ranges hold; common practice, no source
NO_LOAD_FRAC = 0.004  # of rated power: controller and idle losses, 0.2 to 1 %; common practice
USUAL_DIAMETER = 0.04  # propeller over waterline, where no file says; common practice, no source
# Shares of ln power, one standard deviation each; assumed. Propeller and motor per factor e in
# speed; controller and gear at a walking pace, fading over this Froude number.
TILT_SD, IDLE_SD, IDLE_FROUDE = 0.12, 0.25, 0.10
FOULING_SD = 0.12  # friction of a bottom in use, from boat to boat; assumed


def efficiency_range(rated_w: float) -> tuple[float, float]:
    """Battery to tow power at a usual speed, eight in ten drives of a rated power."""
    share = np.clip(np.log(rated_w / SMALL_W) / np.log(LARGE_W / SMALL_W), 0.0, 1.0)
    ends = np.log(SMALL_EFFICIENCY), np.log(EFFICIENCY)
    low, high = np.exp((1 - share) * ends[0] + share * ends[1])
    return float(low), float(high)


def efficiency_mid(rated_w: float) -> float:
    """The middle of that range: its geometric mean."""
    low, high = efficiency_range(rated_w)
    return float(np.sqrt(low * high))


def drive_cov(froude: Floats, wave_share: Floats, rated_w: float) -> Floats:
    """How far the way from battery to tow rope may lie off the usual, in ln power, (m, m).

    Args:
        froude: Grid, (m,).
        wave_share: Residuary part of the resistance, (m,): fouling is in the rest.
    """
    low, high = efficiency_range(rated_w)
    efficiency_sd = np.log(high / low) / 2 / Z80
    return rank_cov(
        [
            efficiency_sd * np.ones_like(froude),
            FOULING_SD * (1 - wave_share),
            TILT_SD * np.log(froude / 0.25),
            IDLE_SD * np.exp(-froude / IDLE_FROUDE),
        ]
    )


def diameter_m(boat: Boat) -> float:
    """Propeller diameter from the boat file, else a usual one for the waterline. [m]"""
    return boat.motor.propeller_diameter_m or USUAL_DIAMETER * boat.hull.waterline_m


def ideal_efficiency(
    thrust_n: Floats, speed_mps: Floats, diameter: float, water: Water = SEA
) -> Floats:
    """Thrust times speed over the power that leaves the disc, 0 to 1; broadcast shape."""
    disc_m2 = np.pi / 4 * diameter**2
    pressure_n = 0.5 * water.density_kg_m3 * disc_m2 * np.square(speed_mps)
    load = np.maximum(thrust_n, 0.0) / pressure_n
    return np.asarray(2.0 / (1.0 + np.sqrt(1.0 + load)))

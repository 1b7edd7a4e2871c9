"""What a cable and its lug should do: expected heating, time constant, heat path of the joint.

First-day numbers from size, insulation and published ratings, wide on purpose; the log narrows
them.
"""

import math
from dataclasses import dataclass

from analyzer import copper
from analyzer.heating import HeatPrior
from logger.boat import Boat, Cable

HEALTHY_JOINT_OHM = 15e-6  # upper end of 5-15 µohm, a tester maker's note (low authority)
LUG_AIR_W_K = 0.05  # a lug's and stud's own surface to the air: some 50 cm² at 10 W/(m²·K)


# A hot joint also warms cable and terminal, which are slower than the lug and give it back.
SLOW_SHARE = 0.8  # no source: of the order of a lug's own heat path to its terminal's


@dataclass(frozen=True)
class Joint:
    """First-day numbers of one probe's place.

    Args:
        ref_a: Reference current; `rise` of the heat model is the settled rise there.
        cable_rise_k: Rise of the cable itself at `ref_a`, far from the joint, by its rating.
        path_k_w: Temperature of the lug per watt made in it; right within a factor of two.
        tau_s: Time constant of cable and lug.
    """

    ref_a: float
    cable_rise_k: float
    path_k_w: float
    tau_s: float


def joint(cable: Cable) -> Joint:
    """First-day numbers from the cable's size, insulation and rating.

    The path of a joint's heat is the cable as a long fin, sqrt(k·A·g) watts per kelvin, with g
    the heat a metre of cable gives off by its published rating, beside the lug's own surface.
    """
    rated_a = copper.ampacity_30c_a(cable)
    rating_c = cable.insulation_rating_c
    rated_k = rating_c - copper.TABLE_AMBIENT_C
    area = copper.area_mm2(cable)
    hot_ohm = float(copper.at_temp(copper.ohm_per_m_20c(cable), rating_c))
    g_w_mk = rated_a**2 * hot_ohm / rated_k
    fin_w_k = math.sqrt(copper.CONDUCTIVITY_W_MK * area * 1e-6 * g_w_mk)
    ref_a = 0.5 * rated_a
    rise = float(copper.settled_rise_k(ref_a, copper.TABLE_AMBIENT_C, rated_a, rating_c))
    # Copper and about as much heat again in insulation; J/(m·K) over W/(m·K).
    tau_s = copper.HEAT_J_MM3_K * area * 1000 * 1.6 / g_w_mk
    return Joint(ref_a, rise, 1 / (fin_w_k + LUG_AIR_W_K), tau_s)


def place(cable: Cable) -> str:
    """What people call the probe's place, e.g. "lug of battery positive"."""
    return f"{cable.probe_at} of {cable.name.replace('_', ' ')}"


def prior(cable: Cable, ambient_measured: bool) -> HeatPrior:
    """Belief about a probe's heating before the first reading.

    A lug is cooled by what it is bolted to, so it stays below the cable's own rise; the place
    adds to it slowly. The spreads are wide: no source gives them.
    """
    j = joint(cable)
    at_cable = cable.probe_at == "cable"
    made = HEALTHY_JOINT_OHM * j.ref_a**2 * j.path_k_w
    rise = 0.8 * j.cable_rise_k if at_cable else 0.4 * j.cable_rise_k + 0.5 * made
    return HeatPrior(
        rise_k=rise,
        rise_sd_k=0.3 * j.cable_rise_k + (0.5 if at_cable else 1.0),
        rise_walk_k=2.0,
        loose_walk_k=60.0 if not at_cable else 15.0,
        tau_s=j.tau_s if at_cable else 0.7 * j.tau_s,
        slow_k=0.35 * j.cable_rise_k,
        slow_sd_k=0.06 * j.cable_rise_k + (0.4 if ambient_measured else 2.5),
        slow_share=0.0 if at_cable else SLOW_SHARE,
        offset_sd_k=2.5 if ambient_measured else 5.0,
        count_slow=ambient_measured,
    )


def pair_prior(cable: Cable) -> HeatPrior:
    """Belief about one pole's probe less the other's, under the same current."""
    j = joint(cable)
    return HeatPrior(
        rise_k=0.0,
        rise_sd_k=0.25 * j.cable_rise_k + 0.5,
        rise_walk_k=2.0,
        loose_walk_k=60.0,
        tau_s=0.7 * j.tau_s,
        slow_sd_k=0.1 * j.cable_rise_k,
        slow_share=SLOW_SHARE,
        offset_sd_k=1.2,
    )


def highest_healthy_k(cable: Cable) -> float:
    """Settled rise at the reference current that a healthy cable and joint stay below. [K]

    The rating's own rise and a fifth more, as a bundle or a tight conduit gives it, and a joint
    twice as bad as the upper end of healthy ones.
    """
    j = joint(cable)
    return 1.2 * j.cable_rise_k + 2 * HEALTHY_JOINT_OHM * j.ref_a**2 * j.path_k_w


def limit_c(cable: Cable) -> float:
    """Temperature the probe's place must stay below: the boat file's, else by what it sits on.

    A lug is held to 15 K below the insulation's rating and at most 90 °C (surfaced joints may
    reach 105 °C by IEEE C37.20.1; the plastic and the hands near them may not); cable to its
    insulation's rating less 10 K.
    """
    if cable.limit_c is not None:
        return cable.limit_c
    if cable.probe_at == "cable":
        return cable.insulation_rating_c - 10.0
    return min(cable.insulation_rating_c - 15.0, 90.0)


def highest_motor_a(boat: Boat) -> float:
    """Current the motor can draw at the pack's cut-off side of its voltage. [A]"""
    nominal = {"lfp": 3.2, "nmc": 3.6, "lead_acid": 2.0}[boat.pack.chemistry]
    return boat.motor.rated_power_w / (nominal * boat.pack.cells_in_series)

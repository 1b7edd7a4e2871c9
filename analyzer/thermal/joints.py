"""What a cable and its lug should do: expected heating, time constant, heat path of the joint.

First-day numbers from size, insulation and published ratings, wide on purpose; the log narrows
them.
"""

import math
from dataclasses import dataclass, replace

from analyzer.thermal import copper
from analyzer.thermal.prior import HeatPrior, SecondNode
from logger.boat import Cable

HEALTHY_JOINT_OHM = 15e-6  # upper end of 5-15 µohm; source: a tester maker's note, low authority
# A lug's and stud's own surface to the air: some 50 cm² at 10 W/(m²·K), a handbook's still air.
LUG_AIR_W_K = 0.05


# What a lug is bolted to takes half of its joint's heat: from a stud on a strip of busbar to the
# end of a battery or a controller, 80 to 2000 J/K, with 0.1 to 0.6 W/K to the air (100 to 600 cm²
# at 10 W/(m²·K), or another cable). Metal contact of 5 to 20 µohm lets 1.5 to 0.4 W/K through
# (Wiedemann and Franz), a bad one 0.2, the bolt's share; a bad crimp leaves the contact as it was
# and nearly all of its heat in the lug. The lug itself loses 0.1 to 0.2 W/K and holds 20 to 80 J/K,
# with the cable's end, which warms with it, 40 to 130. Drawn evenly in the logarithm, the slow of
# the two ways in which two such bodies warm has a time constant of 1230 s in the median, with a
# spread of 0.86 in the logarithm; it adds 4.8 times what the quick one does to a sound lug, spread
# 0.54, and 2.9 times to a bad one (half of them crimps), spread 0.65; the two are hardly tied.
SECOND_NODES = tuple(
    SecondNode(share, tau_s, sound * tau_weight, loose * tau_weight)
    for share, sound, loose in ((1.2, 0.05, 1.0), (2.8, 0.6, 1.5), (6.2, 1.0, 1.0))
    for tau_s, tau_weight in ((405.0, 1.0), (1230.0, 2.0), (3730.0, 1.0))
)
# Three points of each stand for what lies around them; spread within and between them is the whole.
# Fitted to the same sums.
SECOND_LN_SD = 0.3
# Fitted to the same sums: what of a joint's heat comes to its lug; what the second node lets out of
# the lug; how far that leaves open what a sound lug takes over from its cable.
REACHES_FRAC, SECOND_W_K, TAKES_LN_SD = 0.88, 0.19, 0.22
# A cable in moving air or bundled rises a fifth less or more than by its rating (common practice,
# no source); a lug takes over half of that, since heat that stays in the cable also comes along it.
RATED_LN_SD = 0.5 * 0.2
# The cable's end carries more heat off while it is cold: a long fin of 50 mm² lets 0.2 W/K through
# after one minute and 0.1 after ten, beside 0.3 to 1.6 W/K of the other ways. Fitted to those sums.
LATE_FRAC, LATE_TAU_FRAC = 0.2, 0.4
# What a cable gives its cooler end grows as the error function of the square root of time over the
# cable's time constant (a long fin's sums), much sooner than the cable warms: two parts fitted to
# that, within 0.06.
SOON_FRAC, SOON_TAU_FRAC, SLOW_TAU_FRAC = 0.35, 0.07, 0.72
# A lug weighs about a gram for each mm² of its cable, its stud holds some 10 J/K, and a probe takes
# half a minute itself (common practice, no source); the contact lets 0.55 W/K through, as above.
LUG_J_K_MM2, STUD_J_K, PROBE_TAU_S, CONTACT_W_K = 0.385, 10.0, 30.0, 0.55
# Random walk of the settled rise in an hour at the reference current: of a sound joint, of one that
# works loose, of a cable whose strands break. Assumed.
SOUND_WALK_K, LOOSE_WALK_K, LOOSE_CABLE_WALK_K = 1.0, 60.0, 15.0
# Air at the probe less the ambient given, with and without a sensor of it, and between two poles.
# The room that load warms: a sensor in it misses up to a seventh of some 20 K at full load. All of
# them: no source.
AIR_SD_K, AIR_UNMEASURED_SD_K, PAIR_AIR_SD_K = 2.5, 5.0, 1.2
ROOM_SD_K, ROOM_UNMEASURED_SD_K = 0.3, 3.0


@dataclass(frozen=True)
class Joint:
    """First-day numbers of one probe's place.

    Args:
        ref_a: Reference current; `rise` of the heat model is the settled rise there.
        cable_rise_k: Rise of the cable itself at `ref_a`, far from the joint, by its rating.
        path_k_w: Settled rise of the lug per watt of its joint; right within a factor of two.
        from_cable: What a sound lug takes over of the cable's own rise.
        tau_s: Time constant of the cable; `lug_tau_s`: of lug and probe, the host's apart.
    """

    ref_a: float
    cable_rise_k: float
    path_k_w: float
    from_cable: float
    tau_s: float
    lug_tau_s: float


def joint(cable: Cable) -> Joint:
    """First-day numbers from the cable's size, insulation and rating.

    The lug's own way out for a joint's heat is the cable as a long fin, sqrt(k·A·g) watts per
    kelvin, with g the heat a metre of cable gives off by its published rating; the others are its
    surface and what it is bolted to. By the first it takes over from the cable, by all it cools.
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
    out_w_k = fin_w_k + LUG_AIR_W_K + SECOND_W_K
    # A fin takes up half its own heat before all goes through; half of that while a lug warms.
    lug_j_k = LUG_J_K_MM2 * area + STUD_J_K + 0.25 * fin_w_k * tau_s
    lug_tau_s = PROBE_TAU_S + lug_j_k / (fin_w_k + LUG_AIR_W_K + CONTACT_W_K)
    return Joint(ref_a, rise, REACHES_FRAC / out_w_k, fin_w_k / out_w_k, tau_s, lug_tau_s)


def place(cable: Cable) -> str:
    """What people call the probe's place, e.g. "lug of battery positive"."""
    return f"{cable.probe_at} of {cable.name.replace('_', ' ')}"


def prior(cable: Cable, ambient_measured: bool) -> HeatPrior:
    """Prior of a probe's heating.

    A lug's own rise is its joint's; from the cable it takes over a part, as slowly as the cable
    warms, since what it is bolted to cools it.
    """
    j = joint(cable)
    room_sd_k = ROOM_SD_K if ambient_measured else ROOM_UNMEASURED_SD_K
    offset_sd_k = AIR_SD_K if ambient_measured else AIR_UNMEASURED_SD_K
    if cable.probe_at == "cable":
        return HeatPrior(
            rise_k=0.8 * j.cable_rise_k,
            rise_sd_k=0.3 * j.cable_rise_k + 0.5,
            rise_walk_k=SOUND_WALK_K,
            loose_walk_k=LOOSE_CABLE_WALK_K,
            tau_s=j.tau_s,
            neighbour_k=0.1 * j.cable_rise_k,
            neighbour_sd_k=0.06 * j.cable_rise_k + room_sd_k,
            offset_sd_k=offset_sd_k,
            count_neighbour=ambient_measured,
        )
    taken_k = j.from_cable * j.cable_rise_k
    made_k = HEALTHY_JOINT_OHM * j.ref_a**2 * j.path_k_w
    return replace(
        pair_prior(cable),
        rise_k=0.7 * made_k,
        rise_sd_k=0.7 * made_k + 0.2,
        neighbour_k=taken_k,
        neighbour_sd_k=math.hypot(TAKES_LN_SD, RATED_LN_SD) * taken_k + room_sd_k,
        offset_sd_k=offset_sd_k,
        count_neighbour=ambient_measured,
    )


def pair_prior(cable: Cable) -> HeatPrior:
    """Prior of one pole's probe less the other's, under the same current: what is alike cancels."""
    j = joint(cable)
    return HeatPrior(
        rise_k=0.0,
        rise_sd_k=0.1 * j.cable_rise_k + 0.5,
        rise_walk_k=SOUND_WALK_K,
        loose_walk_k=LOOSE_WALK_K,
        tau_s=j.lug_tau_s,
        neighbour_sd_k=TAKES_LN_SD * j.from_cable * j.cable_rise_k,
        neighbour_tau_s=SLOW_TAU_FRAC * j.tau_s,
        neighbour_fast_frac=SOON_FRAC,
        neighbour_fast_tau_s=SOON_TAU_FRAC * j.tau_s,
        lagged_frac=LATE_FRAC,
        lagged_tau_s=LATE_TAU_FRAC * j.tau_s,
        second_nodes=SECOND_NODES,
        second_ln_sd=SECOND_LN_SD,
        offset_sd_k=PAIR_AIR_SD_K,
    )


def highest_healthy_k(cable: Cable) -> float:
    """Settled rise at the reference current that a healthy cable and joint stay below. [K]

    The rating's own rise and a fifth more, as a bundle or a tight conduit gives it, and a joint
    five times as bad as the upper end of healthy ones.
    """
    j = joint(cable)
    return 1.2 * j.cable_rise_k + 5 * HEALTHY_JOINT_OHM * j.ref_a**2 * j.path_k_w


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

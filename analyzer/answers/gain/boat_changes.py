"""From two boats to one question with a change in it: each number by its own physics."""

from dataclasses import dataclass, replace

from analyzer.environment.solar import unmeasured_sun_w
from analyzer.environment.sun_ahead import SunAhead
from analyzer.errors import BadChange
from analyzer.hull.propeller import USUAL_BLADES, Propeller
from analyzer.learned.keys import calibration_before
from analyzer.pack.cell_model import default_params
from analyzer.range import inputs
from analyzer.range.monte_carlo import ReachInput
from analyzer.range.what_if import changes
from analyzer.range.what_if.propeller import OtherPropeller
from analyzer.series.log import OpenLog
from analyzer.thermal import copper
from logger.boat import Boat, Motor
from logger.units import UNDATED_S

# A cable's copper lies below the standard's largest value by so much, one standard deviation;
# assumed. Its warmth under load as `range/inputs.py` takes it.
COPPER_SD = 0.06
CABLE_C = 40.0  # assumed
SCREW_KEYS = ("propeller_diameter_m", "propeller_pitch_m", "propeller_blades")
MOTOR_CURRENTS = ("pack_current_a", "controller_current_a")


@dataclass(frozen=True)
class Place:
    """What the log says beside the question.

    Args:
        utc_s, place_deg: When and where, for the sun.
        advance_m: Through the water for each turn of the shaft, (mean, sd); None: not known.
    """

    utc_s: float
    place_deg: tuple[float, float] | None = None
    advance_m: tuple[float, float] | None = None


def place_of(log: OpenLog, end_us: int) -> Place:
    """Where and when the question is asked, and what the propeller does there. [µs]"""
    lat, lon = log.store.last("latitude_deg"), log.store.last("longitude_deg")
    known = calibration_before(log, None)
    return Place(
        utc_s=end_us / 1e6,
        place_deg=(lat[1], lon[1]) if lat and lon else None,
        advance_m=known.advance_m if known else None,
    )


def changed_question(
    given: ReachInput, now: Boat, then: Boat, place: Place
) -> tuple[ReachInput, tuple[str, ...]]:
    """The question of the changed boat, and what each change rests on.

    Raises:
        BadChange: The boat file lacks what a change wants.
    """
    reasons: list[str] = []
    for step in (_pack, _limits, _cables, _propeller, _hotel, _panels):
        given, said = step(given, now, then, place)
        reasons += said
    if not reasons:
        reasons.append("the boat file has that value already: nothing changes")
    return given, tuple(reasons)


Step = tuple[ReachInput, list[str]]


def _pack(given: ReachInput, now: Boat, then: Boat, _: Place) -> Step:
    old, new = now.pack, then.pack
    said = []
    factor = new.rated_capacity_ah / old.rated_capacity_ah
    if factor != 1:
        given = changes.larger_pack(given, factor)
        said.append(
            "the pack: cells of the same kind in the same state, larger or smaller; resistance "
            "goes with one over their size; as full, in per cent, as the one aboard"
        )
    if new.cells_in_series != old.cells_in_series:
        given = changes.cells_in_series(given, new.cells_in_series)
        said.append("the cells: so many of the same kind and state; limits in volts stay")
    if new.cell_resistance_ohm != old.cell_resistance_ohm and new.cell_resistance_ohm:
        label = default_params(old.model_copy(update={"rated_capacity_ah": new.rated_capacity_ah}))
        ratio = new.cell_resistance_ohm / (label.r0_ohm + label.r1_ohm)
        given = changes.resistance(given, ratio)
        said.append("the cells' resistance: as the log found it, times new over old label")
    return given, said


def _limits(given: ReachInput, now: Boat, then: Boat, _: Place) -> Step:
    old, new = inputs.limits(now), inputs.limits(then)
    new = replace(new, cable_ohm=old.cable_ohm)
    if new == old:
        return given, []
    kept = replace(new, cable_ohm=given.limits.cable_ohm)
    return replace(given, limits=kept), ["the limits: as given"]


def path_ohm(boat: Boat) -> float:
    """Copper between pack and controller, there and back, warm. [ohm] Source: IEC 60228."""
    cables = (cable for cable in boat.cable if cable.current_channel in MOTOR_CURRENTS)
    cold = sum(copper.ohm_per_m_20c(cable) * cable.length_m for cable in cables)
    return float(copper.at_temp(cold, CABLE_C))


def _cables(given: ReachInput, now: Boat, then: Boat, _: Place) -> Step:
    if now.cable == then.cable:
        return given, []
    less = path_ohm(now) - path_ohm(then)
    said = f"the cables: {1e3 * abs(less):.2f} mΩ {'less' if less >= 0 else 'more'} by IEC 60228"
    if not less:
        said = "the cables: that one is not in the motor's path, so nothing changes"
    return changes.better_path(given, (less, COPPER_SD * abs(less))), [said]


def _propeller(given: ReachInput, now: Boat, then: Boat, place: Place) -> Step:
    if all(getattr(then.motor, key) == getattr(now.motor, key) for key in SCREW_KEYS):
        return given, []
    old, new = _screw(now.motor), _screw(then.motor)
    if old is None or new is None:
        raise BadChange(
            "what if: another propeller wants motor.propeller_diameter_m and "
            "motor.propeller_pitch_m of the one aboard in the boat file"
        )
    for screw in (old, new):
        if not screw.in_series:
            raise BadChange(
                "what if: the published series has propellers of 2 to 7 blades whose pitch is 0.5 "
                f"to 1.4 of their diameter; got {screw.blades} blades and {screw.pitch_ratio:.2f}"
            )
    seen = given.curve.seen_mps
    known = place.advance_m is not None and seen is not None
    change = OtherPropeller(
        old,
        new,
        rated_power_w=now.motor.rated_power_w,
        density_kg_m3=now.hull.water_density_kg_m3,
        advance_m=place.advance_m if known else None,
        at_mps=sum(seen) / 2 if seen else 0.0,
    )
    by = "the shaft's measured turns" if known else "the power, as the shaft's turns are not known"
    said = (
        "the propeller: by the published B-series, loaded as told by "
        f"{by}; whether the motor can turn it so fast, or so hard, is not looked at"
    )
    return changes.after(given, change), [said]


def _screw(motor: Motor) -> Propeller | None:
    if motor.propeller_diameter_m is None or motor.propeller_pitch_m is None:
        return None
    blades = motor.propeller_blades or USUAL_BLADES
    return Propeller(motor.propeller_diameter_m, motor.propeller_pitch_m, blades)


def _hotel(given: ReachInput, now: Boat, then: Boat, _: Place) -> Step:
    if now.hotel == then.hotel:
        return given, []
    was_w = given.hotel_w[0]
    said = f"the load beside the motor: {then.hotel.power_w:g} W in place of about {was_w:.0f} W"
    return changes.hotel_load(given, then.hotel.power_w), [said]


def _panels(given: ReachInput, now: Boat, then: Boat, place: Place) -> Step:
    old_w, new_w = now.solar.peak_w, then.solar.peak_w
    if old_w == new_w:
        return given, []
    if old_w > 0:
        said = "the panels: in the same sun and shade as those aboard"
        return changes.sun_times(given, new_w / old_w), [said]
    utc_s = place.utc_s if place.utc_s > UNDATED_S else None
    sun_w = unmeasured_sun_w(new_w, place.place_deg, utc_s)
    ahead = SunAhead.at(place.place_deg, place.utc_s, new_w, sun_w[0])
    said = "the panels: none so far, so by the usual share of a clear sky"
    return changes.first_panels(given, sun_w, ahead), [said]

"""What the boat file alone tells on the first day: motor against cables, fuses and pack; sun
against use. Doubtful things are findings; impossible ones were refused when the file was read.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from analyzer.estimation.detection import Detection
from analyzer.estimation.estimate import Estimate
from analyzer.pack.cell_model import Chemistry, chemistry
from analyzer.thermal import copper
from logger.boat import Boat, Cable

CAUTION = (
    "High current: fuses and cables are there to prevent a fire. Local codes, the makers' limits "
    "and a qualified electrician come first."
)
# Battery power per rated motor power: from all losses counted already (1) to a rating at the
# shaft and 85 % efficiency (common practice, no source).
LEAST_LOSS, MOST_LOSS = 1.0, 1 / 0.85
# Hours of full sun a day that panels lying flat on a boat yield, poor to good summer days in the
# temperate zone (common practice, no source).
SUN_H = (1.5, 3.0, 5.0)
# Of the voltage, lost in feeders' cables: ABYC E-11, as an electrician's supplier prints it.
MOST_DROP_FRAC = 0.03
MOTOR_CHANNELS = ("pack_current_a", "controller_current_a")


@dataclass(frozen=True)
class FullPower:
    """Battery current at the motor's full power. [A]"""

    low: float
    mid: float
    high: float
    why: str

    @property
    def estimate(self) -> Estimate:
        """As an answer."""
        return Estimate(self.mid, self.low, self.high, "A", reason=self.why)


def full_power(boat: Boat) -> FullPower:
    """Current out of the pack at full power: the controller's own limit, or power over voltage."""
    limit = boat.motor.max_current_a
    if limit is not None:
        return FullPower(limit, limit, limit, "the controller's limit in the boat file")
    cells, kind = boat.pack.cells_in_series, chemistry(boat.pack.chemistry)
    full_v = cells * float(kind.ocv_v(0.95))
    empty_v = cells * (0.6 * float(kind.ocv_v(0.15)) + 0.4 * _cutoff_v(boat, kind))
    power = boat.motor.rated_power_w
    low, high = LEAST_LOSS * power / full_v, MOST_LOSS * power / empty_v
    why = (
        f"rated power over pack voltage: full without losses to nearly empty under load with "
        f"{100 / MOST_LOSS:.0f} % efficiency"
    )
    return FullPower(low, (low * high) ** 0.5, high, why)


def _cutoff_v(boat: Boat, kind: Chemistry) -> float:
    own = boat.pack.cell_cutoff_v
    return own if own is not None else kind.cutoff_v


def findings(boat: Boat) -> tuple[Detection, ...]:
    """What is doubtful about the boat as the file describes it."""
    full = full_power(boat)
    out = [f for cable in boat.cable for f in _cable(cable, full)]
    return (*out, *_drop(boat, full), *_pack(boat, full), *_cutback(boat), *_sun(boat))


def _cable(cable: Cable, full: FullPower) -> Iterator[Detection]:
    amps = copper.ampacity_a(cable)
    carries_motor = cable.current_channel in MOTOR_CHANNELS
    if carries_motor and full.high > amps:
        yield Detection(
            f"cable {cable.name}",
            "over_ampacity",
            f"Full power can draw {_amps(full)}; the published ampacity of this cable, where it "
            f"lies, is {amps:.0f} A.",
            0.95 if full.low > amps else 0.6,
            full.estimate,
            "Lower the controller's current limit, or fit a larger cable.",
            CAUTION,
        )
    if cable.fuse_a is None:
        return
    if cable.fuse_a > amps:
        yield Detection(
            f"fuse of {cable.name}",
            "fuse_too_large",
            f"A fuse of {cable.fuse_a:g} A lets more flow than the {amps:.0f} A this cable may "
            f"carry where it lies.",
            0.9 if cable.fuse_a > 1.5 * amps else 0.6,
            Estimate(cable.fuse_a / amps, None, None, "frac"),
            "A smaller fuse, or a larger cable. Codes differ in how far a fuse may be above the "
            "cable: the one where you are decides.",
            CAUTION,
        )
    if carries_motor and cable.fuse_a < full.high:
        yield Detection(
            f"fuse of {cable.name}",
            "fuse_too_small",
            f"Full power can draw {_amps(full)} through a fuse of {cable.fuse_a:g} A.",
            0.9 if cable.fuse_a < full.low else 0.5,
            full.estimate,
            "Set the controller's current limit below the fuse; never a larger fuse than the cable "
            "allows.",
            CAUTION,
        )


def _drop(boat: Boat, full: FullPower) -> Iterator[Detection]:
    """What the motor's cables lose at full power, joints apart."""
    motor = [c for c in boat.cable if c.current_channel in MOTOR_CHANNELS]
    ohm = sum(
        float(copper.drop_v(1.0, c.length_m, copper.ohm_per_m_20c(c), copper.place_c(c)))
        for c in motor
    )
    rest_v = boat.pack.cells_in_series * float(chemistry(boat.pack.chemistry).ocv_v(0.5))
    lost = full.mid * ohm / rest_v
    if lost <= MOST_DROP_FRAC:
        return
    yield Detection(
        "cables",
        "voltage_drop",
        f"At full power the cables that carry the motor's current lose about {full.mid * ohm:.1f} "
        f"of {rest_v:.0f} V, {100 * lost:.1f} %, and {full.mid**2 * ohm:.0f} W as heat. "
        f"{100 * MOST_DROP_FRAC:.0f} % is the usual limit for feeders.",
        0.9 if full.low * ohm / rest_v > MOST_DROP_FRAC else 0.6,
        Estimate(full.mid * ohm, full.low * ohm, full.high * ohm, "V"),
        f"Shorter cables, or {lost / MOST_DROP_FRAC:.1f} times the copper; check length_m and the "
        f"size in the boat file first.",
        CAUTION,
    )


def _pack(boat: Boat, full: FullPower) -> Iterator[Detection]:
    most = boat.pack.max_discharge_a
    if most is not None and full.high > most:
        yield Detection(
            "pack",
            "over_discharge_limit",
            f"Full power can draw {_amps(full)}; the pack may give {most:g} A. Its protection may "
            f"cut everything off without warning.",
            0.95 if full.low > most else 0.6,
            full.estimate,
            "Lower the controller's current limit below the pack's.",
            CAUTION,
        )
    volts = boat.pack.cells_in_series * float(chemistry(boat.pack.chemistry).ocv_v(0.5))
    sun_a = boat.solar.peak_w / volts
    charge = boat.pack.max_charge_a
    if charge is not None and sun_a > charge:
        yield Detection(
            "solar",
            "over_charge_limit",
            f"Full sun can charge with {sun_a:.0f} A; the pack may take {charge:g} A.",
            0.9,
            Estimate(sun_a, None, None, "A"),
            "Limit the solar charger's current.",
            CAUTION,
        )


def _cutback(boat: Boat) -> Iterator[Detection]:
    cutback, reserve = boat.motor.cutback_v, boat.reserve.soc_frac
    rest_v = boat.pack.cells_in_series * float(chemistry(boat.pack.chemistry).ocv_v(reserve))
    if cutback is None or cutback <= rest_v:
        return
    yield Detection(
        "controller",
        "cutback_above_reserve",
        f"The controller cuts power back below {cutback:g} V; the pack at rest with the reserve of "
        f"{100 * reserve:.0f} % has {rest_v:.1f} V, so power falls before the reserve is reached.",
        0.8,
        Estimate(cutback - rest_v, None, None, "V"),
        "Correct cutback_v in the boat file if it is wrong; if it is right, a larger reserve is "
        "the honest one.",
        CAUTION,
    )


def _sun(boat: Boat) -> Iterator[Detection]:
    use_wh = 24 * boat.hotel.power_w
    if use_wh == 0:
        return
    sun_wh = [hours * boat.solar.peak_w for hours in SUN_H]
    if sun_wh[1] >= use_wh:
        return
    volts = boat.pack.cells_in_series * float(chemistry(boat.pack.chemistry).ocv_v(0.5))
    spare_wh = (1 - boat.reserve.soc_frac) * boat.pack.rated_capacity_ah * volts
    days = [spare_wh / (use_wh - s) if s < use_wh else None for s in (sun_wh[1], *sun_wh[::2])]
    mid, low, high = days
    yield Detection(
        "hotel load",
        "use_above_sun",
        f"Lying still the boat uses {use_wh:.0f} Wh a day and the panels give about "
        f"{sun_wh[1]:.0f} Wh: "
        f"a full pack is at its reserve after about {mid or 0:.0f} days without shore power.",
        0.7,
        Estimate((mid or 0) * 86400, (low or 0) * 86400, high * 86400 if high else None, "s"),
        "Switch off what is not needed when leaving the boat, or charge from shore.",
        "A pack left to run empty can be damaged for good.",
    )


def _amps(full: FullPower) -> str:
    if full.low == full.high:
        return f"{full.high:.0f} A"
    return f"{full.low:.0f} to {full.high:.0f} A"

"""Ledger: where a trip's watt-hours came from and went to, closing within its stated error.

At the pack's terminals: what the pack gave, net, is what the motor took, less what it gave back,
and the hotel load and what cables and contactor turned to heat, less what sun and shore put in.
"""

import math

import numpy as np

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import LedgerRow
from analyzer.pack.soc import Charge
from analyzer.series.operating import beside_power_w, first_finite, pack_power_w
from analyzer.series.series import Bools, Floats, Series
from analyzer.thermal import copper
from analyzer.trips.trips import Trip, between
from logger.boat import Boat
from logger.units import HOUR_S

GAIN_SD = 0.01  # of a boat's shunt or meter (common practice, no source)
OFFSET_A = 0.2  # of a shunt's zero: a thousandth of its range (common practice, no source)
METER_SD_V = 0.02  # between two meters: a hundredth of a volt each is common practice, no source
# Of what is not measured: typical hotel load, low and high; cables by their published resistance
# with joints of any state; heat inside the pack. Assumed.
HOTEL_BAND, CABLE_BAND, INSIDE_SD = (0.6, 1.5), (0.8, 2.0), 0.15
WARM_FACTOR = 1.1  # cables a tenth over 20 °C's resistance, for warmth and joints; assumed


def ledger(
    series: Series, charge: Charge | None, boat: Boat, trip: Trip | None
) -> tuple[LedgerRow, ...]:
    """The ledger of one trip. Positive is out of the pack.

    The rows up to "not accounted for" add up to "given by the pack, net"; heat made inside the
    pack comes after, as it never passed the terminals.
    """
    first, last = _span(series, trip)
    part = series.cut(first, last)
    pack = _energy(part, pack_power_w(part))
    rows = [
        *_motor(part, boat),
        _hotel(part, boat),
        *_sources(part),
        _cables(part, boat),
    ]
    left = _left(pack, [row.energy for row in rows])
    rows.append(LedgerRow("not accounted for", left))
    rows.append(LedgerRow("given by the pack, net", pack))
    if charge is not None:
        rows.append(_inside(part, charge, first, last))
    return tuple(rows)


def _left(pack: Estimate, parts: list[Estimate]) -> Estimate:
    """What the rows leave of what the pack gave; unknown where that was not measured."""
    if pack.mid is None:
        return cannot_say("what the pack gave is not measured", "Wh")
    known = [part for part in parts if part.mid is not None]
    sd = math.hypot(*(_sd(part) for part in (pack, *known)))
    return _range(pack.mid - sum(part.mid or 0.0 for part in known), sd)


def _span(series: Series, trip: Trip | None) -> tuple[int, int]:
    if trip is None:
        return 0, series.n
    part = between(series, trip.start_us, trip.end_us)
    first = round((part.t0_us - series.t0_us) / 1e6 / series.step_s)
    return first, first + part.n


def _motor(part: Series, boat: Boat) -> list[LedgerRow]:
    amps = part.get("controller_current_a")
    pack_v = part.get("pack_voltage_v")
    if not np.isfinite(amps).any():
        # What the pack gives beyond the load beside the drive.
        known_v = np.where(pack_v > 0, pack_v, np.nan)  # a spoiled reading may be 0 V
        amps = part.get("pack_current_a") - beside_power_w(part, boat) / known_v
    if not np.isfinite(amps).any():
        why = "neither the controller's current nor the rest of the load is measured"
        return [LedgerRow("to the motor", cannot_say(why, "Wh"))]
    volts = part.get("controller_voltage_v")
    behind_v = pack_v - _loop_ohm(boat) * amps
    power = np.where(np.isfinite(volts), volts, behind_v) * amps
    # Both ways apart; a gap stays one.
    taken = np.maximum(power, 0.0)
    back = np.minimum(power, 0.0)
    return [
        LedgerRow("to the motor", _energy(part, taken)),
        LedgerRow("back from the motor (regeneration)", _energy(part, back)),
    ]


def _hotel(part: Series, boat: Boat) -> LedgerRow:
    measured = part.get("hotel_power_w")
    if np.isfinite(measured).any():
        return LedgerRow("to the hotel load", _energy(part, measured))
    if not boat.hotel.measured_in_pack_current:
        return LedgerRow("to the hotel load", cannot_say("fed by another battery", "Wh"))
    if not boat.hotel.power_w:
        return LedgerRow("to the hotel load", cannot_say("not measured, nor in the file", "Wh"))
    mid = boat.hotel.power_w * part.n * part.step_s / HOUR_S
    why = "by the boat file's typical power, not measured"
    return LedgerRow("to the hotel load", _banded(mid, HOTEL_BAND, why))


def _banded(mid: float, band: tuple[float, float], why: str) -> Estimate:
    """An energy known to factors. [Wh]"""
    low, high = (factor * mid for factor in band)
    return Estimate(mid, low, high, "Wh", reason=why)


def _sources(part: Series) -> list[LedgerRow]:
    out = []
    for text, name in (("from the sun", "solar_power_w"), ("from shore", "shore_power_w")):
        power = part.get(name)
        if np.isfinite(power).any():
            out.append(LedgerRow(text, _energy(part, -power)))
    return out


def _cables(part: Series, boat: Boat) -> LedgerRow:
    text = "lost in cables and contactor"
    drop = part.get("pack_voltage_v") - part.get("controller_voltage_v")
    amps = first_finite(part, ("controller_current_a", "pack_current_a"))
    lost_w = drop * amps
    if np.isfinite(lost_w).any():
        sd = METER_SD_V * _summed_h(part, np.abs(amps))
        return LedgerRow(text, _range(_summed_h(part, lost_w), sd))
    loop = _loop_ohm(boat)
    if not np.isfinite(amps).any():
        return LedgerRow(text, cannot_say("no current is measured", "Wh"))
    if not loop:
        return LedgerRow(text, cannot_say("no cable in the boat file", "Wh"))
    mid = loop * _summed_h(part, np.square(amps))
    why = "by the cables' published resistance; joints and contactor not measured"
    return LedgerRow(text, _banded(mid, CABLE_BAND, why))


def _loop_ohm(boat: Boat) -> float:
    """All cables of the boat file, warm, with their joints; 0 where there is none."""
    return WARM_FACTOR * sum(copper.ohm_per_m_20c(c) * c.length_m for c in boat.cable)


def _inside(part: Series, charge: Charge, first: int, last: int) -> LedgerRow:
    lost_v = (charge.v_r0 + charge.v_rc)[first:last]
    mid = _summed_h(part, lost_v * part.get("pack_current_a"))
    sd = INSIDE_SD * abs(mid)
    return LedgerRow("turned to heat inside the pack, besides", _range(mid, sd))


def _energy(part: Series, power_w: Floats) -> Estimate:
    """Integral of a power; a gap adds nothing. [Wh]"""
    ok = np.isfinite(power_w)
    if not ok.any():
        return cannot_say("not measured", "Wh")
    mid = _summed_h(part, power_w)
    nominal_v = 0.0
    if part.has("pack_voltage_v"):
        nominal_v = float(np.nanmedian(part.get("pack_voltage_v")))
    # The shunt's zero adds up as long as something flows.
    flowing_h = _summed_h(part, ok & (power_w != 0))
    offset = OFFSET_A * nominal_v * flowing_h
    return _range(mid, math.hypot(GAIN_SD * mid, offset))


def _summed_h(part: Series, values: Floats | Bools) -> float:
    """Integral over time, in hours; a gap adds nothing."""
    return float(np.nansum(values)) * part.step_s / HOUR_S


def _sd(e: Estimate) -> float:
    return ((e.high or 0.0) - (e.low or 0.0)) / (2 * Z80)


def _range(mid: float, sd: float) -> Estimate:
    half = Z80 * sd
    return Estimate(mid, mid - half, mid + half, "Wh")

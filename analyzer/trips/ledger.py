"""Ledger: where a trip's watt-hours came from and went to, closing within its stated error.

At the pack's terminals: what the pack gave, net, is what the motor took, less what it gave back,
and the hotel load and what cables and contactor turned to heat, less what sun and shore put in.
"""

import numpy as np

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.quantiles import Z80
from analyzer.estimation.results import LedgerRow
from analyzer.pack.soc import Charge
from analyzer.series.operating import beside_power_w, pack_power_w
from analyzer.series.series import Floats, Series
from analyzer.thermal import copper
from analyzer.trips.trips import Trip, between
from logger.boat import Boat
from logger.units import HOUR_S

GAIN_SD = 0.01  # of a boat's shunt or meter (common practice, no source)
OFFSET_A = 0.2


def ledger(
    series: Series, charge: Charge | None, boat: Boat, trip: Trip | None
) -> tuple[LedgerRow, ...]:
    """The ledger of one trip. Positive is out of the pack.

    The rows up to "not accounted for" add up to "given by the pack, net"; heat made inside the
    pack comes after, as it never passed the terminals.
    """
    first, last = _span(series, trip)
    part = series.cut(first, last)
    pack = _energy(part, pack_power_w(part), boat)
    rows = [*_motor(part, boat), _hotel(part, boat), *_sources(part, boat), _cables(part, boat)]
    rows.append(LedgerRow("not accounted for", _left(pack, [row.energy for row in rows])))
    rows.append(LedgerRow("given by the pack, net", pack))
    if charge is not None:
        rows.append(_inside(part, charge, first, last))
    return tuple(rows)


def _left(pack: Estimate, parts: list[Estimate]) -> Estimate:
    """What the rows leave of what the pack gave; unknown where that was not measured."""
    if pack.mid is None:
        return cannot_say("what the pack gave is not measured", "Wh")
    known = [part for part in parts if part.mid is not None]
    sd = float(np.sqrt(sum(_sd(part) ** 2 for part in (pack, *known))))
    return _range(pack.mid - sum(part.mid or 0.0 for part in known), sd)


def _span(series: Series, trip: Trip | None) -> tuple[int, int]:
    if trip is None:
        return 0, series.n
    part = between(series, trip.start_us, trip.end_us)
    first = round((part.t0_us - series.t0_us) / 1e6 / series.step_s)
    return first, first + part.n


def _motor(part: Series, boat: Boat) -> list[LedgerRow]:
    amps = part.get("controller_current_a")
    if not np.isfinite(amps).any():
        # What the pack gives beyond the load beside the drive.
        beside_a = beside_power_w(part, boat) / part.get("pack_voltage_v")
        amps = part.get("pack_current_a") - beside_a
    volts = part.get("controller_voltage_v")
    there = part.get("pack_voltage_v") - _loop_ohm(boat) * amps
    volts = np.where(np.isfinite(volts), volts, there)
    if not np.isfinite(amps).any():
        why = "neither the controller's current nor the rest of the load is measured"
        return [LedgerRow("to the motor", cannot_say(why, "Wh"))]
    power = volts * amps
    taken, back = np.where(power > 0, power, 0.0), np.where(power < 0, power, 0.0)
    taken[~np.isfinite(power)] = back[~np.isfinite(power)] = np.nan
    return [
        LedgerRow("to the motor", _energy(part, taken, boat)),
        LedgerRow("back from the motor (regeneration)", _energy(part, back, boat)),
    ]


def _hotel(part: Series, boat: Boat) -> LedgerRow:
    measured = part.get("hotel_power_w")
    if np.isfinite(measured).any():
        return LedgerRow("to the hotel load", _energy(part, measured, boat))
    if not boat.hotel.measured_in_pack_current:
        return LedgerRow("to the hotel load", cannot_say("fed by another battery", "Wh"))
    if not boat.hotel.power_w:
        return LedgerRow("to the hotel load", cannot_say("not measured, nor in the file", "Wh"))
    hours = part.n * part.step_s / HOUR_S
    mid = boat.hotel.power_w * hours
    why = "by the boat file's typical power, not measured"
    return LedgerRow("to the hotel load", Estimate(mid, 0.6 * mid, 1.5 * mid, "Wh", reason=why))


def _sources(part: Series, boat: Boat) -> list[LedgerRow]:
    out = []
    for text, name in (("from the sun", "solar_power_w"), ("from shore", "shore_power_w")):
        power = part.get(name)
        if np.isfinite(power).any():
            out.append(LedgerRow(text, _energy(part, -power, boat)))
    return out


def _cables(part: Series, boat: Boat) -> LedgerRow:
    text = "lost in cables and contactor"
    drop = part.get("pack_voltage_v") - part.get("controller_voltage_v")
    amps = part.get("controller_current_a")
    amps = np.where(np.isfinite(amps), amps, part.get("pack_current_a"))
    if np.isfinite(drop * amps).any():
        lost = drop * amps
        mid = float(np.nansum(lost)) * part.step_s / HOUR_S
        # A hundredth of a volt between two meters is common.
        sd = 0.02 * float(np.nansum(np.abs(amps))) * part.step_s / HOUR_S
        return LedgerRow(text, _range(mid, sd))
    loop = _loop_ohm(boat)
    if not loop:
        return LedgerRow(text, cannot_say("no cable in the boat file", "Wh"))
    mid = loop * float(np.nansum(np.square(amps))) * part.step_s / HOUR_S
    why = "by the cables' published resistance; joints and contactor not measured"
    return LedgerRow(text, Estimate(mid, 0.8 * mid, 2.0 * mid, "Wh", reason=why))


def _loop_ohm(boat: Boat) -> float:
    """All cables of the boat file, a tenth more for warmth and joints; 0 where there is none."""
    return 1.1 * sum(copper.ohm_per_m_20c(c) * c.length_m for c in boat.cable)


def _inside(part: Series, charge: Charge, first: int, last: int) -> LedgerRow:
    lost = (charge.v_r0 + charge.v_rc)[first:last] * part.get("pack_current_a")
    mid = float(np.nansum(lost)) * part.step_s / HOUR_S
    return LedgerRow("turned to heat inside the pack, besides", _range(mid, 0.15 * abs(mid)))


def _energy(part: Series, power_w: Floats, boat: Boat) -> Estimate:
    """Integral of a power; a gap adds nothing. [Wh]"""
    ok = np.isfinite(power_w)
    if not ok.any():
        return cannot_say("not measured", "Wh")
    hours = part.step_s / HOUR_S
    mid = float(power_w[ok].sum()) * hours
    nominal_v = float(np.nanmedian(part.get("pack_voltage_v"))) if part.has("pack_voltage_v") else 0
    flowing = float(np.mean(power_w[ok] != 0))
    offset = OFFSET_A * nominal_v * ok.sum() * hours * flowing
    return _range(mid, float(np.hypot(GAIN_SD * mid, offset)))


def _sd(e: Estimate) -> float:
    return ((e.high or 0.0) - (e.low or 0.0)) / (2 * Z80)


def _range(mid: float, sd: float) -> Estimate:
    return Estimate(mid, mid - Z80 * sd, mid + Z80 * sd, "Wh")

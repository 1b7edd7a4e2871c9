"""Resistance of a displacement hull at a steady speed.

Sources:
    Friction: ITTC 1957 model-ship correlation line, Reynolds number on 0.7 waterline length as
        is usual for sailing yachts.
    Residuary resistance: `delft_tables.py`; bare canoe body by the series of 1998 from Froude
        number 0.20 to 0.60, above by how that of 2008 rises to 0.75.
    Wetted area of the canoe body: J. Gerritsma, J. A. Keuning, R. Onnink, Delft series, 1992
        (formula from memory; it gives 16.33 m² for the hull that reference tables print so).
    What keel and rudder add: three towed hulls of 1981, in the same tables.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from analyzer.hull.delft_tables import (
    COEFFICIENTS_1998,
    COEFFICIENTS_2008,
    FROUDE,
    FROUDE_1998,
    HULLS_1981,
)
from analyzer.series.physics import GRAVITY, SEA, Water
from analyzer.series.series import Floats

WATERPLANE_FRAC = 0.685  # waterplane area over length x beam; common practice, no source
LCF_BEHIND_LCB = 0.025  # of the length; common practice, no source
USUAL_MIDSHIP = 0.75  # midship coefficient; source: the series of 2008 has 0.65 to 0.79
# Residuary resistance over Froude number outside the series. Below 0.2 their own is 4 (fit to the
# 1998 series there); above 0.75 that of a constant drag coefficient (textbook, no source).
LOW_EXPONENT, HIGH_EXPONENT = 4.0, 2.0
OVER = 0.12  # in ln Froude beyond the series' ends, until these hold: its own spacing; assumed


@dataclass(frozen=True)
class Form:
    """A hull's numbers as the series want them; lengths along the waterline from the bow.

    Args:
        length_m, beam_m: Of the waterline.
        volume_m3: Of the canoe body.
        wetted_area_m2: Of the canoe body.
        waterplane_area_m2: Area enclosed by the waterline.
        lcb_frac, lcf_frac: Centres of buoyancy and of the waterplane, over length.
        prismatic, midship: Coefficients.
        water: What it floats in.
    """

    length_m: float
    beam_m: float
    volume_m3: float
    wetted_area_m2: float
    waterplane_area_m2: float
    lcb_frac: float
    lcf_frac: float
    prismatic: float
    midship: float = USUAL_MIDSHIP
    water: Water = SEA

    @property
    def draught_m(self) -> float:
        """Of the canoe body."""
        section_m2 = self.volume_m3 / (self.prismatic * self.length_m)
        return section_m2 / (self.midship * self.beam_m)


def wetted_area_m2(
    length_m: float, beam_m: float, draught_m: float, volume_m3: float, midship: float
) -> float:
    """Wetted area of a canoe body. [m²]; `midship` is the midship section's coefficient."""
    shape = (1.97 + 0.171 * beam_m / draught_m) * (0.65 / midship) ** (1 / 3)
    return float(shape * np.sqrt(volume_m3 * length_m))


def friction_coefficient(reynolds: Floats) -> Floats:
    """ITTC-57 friction coefficient; any shape. Reynolds numbers below 1000 are taken as 1000."""
    return np.asarray(0.075 / (np.log10(np.maximum(reynolds, 1e3)) - 2.0) ** 2, dtype=np.float64)


def friction_n(speed_mps: Floats, length_m: float, area_m2: float, water: Water = SEA) -> Floats:
    """Friction of a wetted area. [N], shape of `speed_mps`; Reynolds on 0.7 of the length."""
    reynolds = speed_mps * 0.7 * length_m / water.viscosity_m2_s
    pressure = 0.5 * water.density_kg_m3 * speed_mps**2
    return np.asarray(pressure * area_m2 * friction_coefficient(reynolds))


def form_from_ratios(
    lcb_pct: float,
    prismatic: float,
    length_displacement: float,
    beam_draught: float,
    length_beam: float,
    length_m: float = 8.0,
) -> Form:
    """A hull from the five ratios that tank results are printed with, at a chosen length.

    Args:
        lcb_pct: Centre of buoyancy, % of length forward of midships.
        prismatic: Prismatic coefficient.
        length_displacement, beam_draught, length_beam: L / V^(1/3), B / T, L / B.
        length_m: Waterline.
    """
    volume = (length_m / length_displacement) ** 3
    beam = length_m / length_beam
    draught = beam / beam_draught
    midship = volume / (prismatic * length_m * beam * draught)
    lcb = 0.5 - lcb_pct / 100
    return Form(
        length_m=length_m,
        beam_m=beam,
        volume_m3=volume,
        wetted_area_m2=wetted_area_m2(length_m, beam, draught, volume, midship),
        waterplane_area_m2=WATERPLANE_FRAC * length_m * beam,
        lcb_frac=lcb,
        lcf_frac=lcb + LCF_BEHIND_LCB,
        prismatic=prismatic,
        midship=midship,
    )


def _series_1998(form: Form) -> Floats:
    """Residuary resistance over weight at `FROUDE_1998`, shape (9,)."""
    vol23 = form.volume_m3 ** (2 / 3)
    terms = np.array(
        [
            form.lcb_frac,
            form.prismatic,
            vol23 / form.waterplane_area_m2,
            form.beam_m / form.length_m,
            vol23 / form.wetted_area_m2,
            form.lcb_frac / form.lcf_frac,
            form.lcb_frac**2,
            form.prismatic**2,
        ]
    )
    slender = form.volume_m3 ** (1 / 3) / form.length_m
    return np.asarray(COEFFICIENTS_1998[:, 0] + COEFFICIENTS_1998[:, 1:] @ terms * slender)


def _series_2008(form: Form) -> Floats:
    """The same at `FROUDE_2008`, shape (4,)."""
    terms = np.array(
        [
            form.lcb_frac,
            form.prismatic,
            form.volume_m3 ** (2 / 3) / form.waterplane_area_m2,
            form.beam_m / form.length_m,
            form.lcb_frac / form.lcf_frac,
            form.beam_m / form.draught_m,
            form.midship,
        ]
    )
    slender = form.volume_m3 ** (1 / 3) / form.length_m
    return np.asarray(COEFFICIENTS_2008[:, 0] + COEFFICIENTS_2008[:, 1:] @ terms * slender)


@cache
def _appended_ratio() -> Floats:
    """Hulls with keel and rudder over the bare canoe body, at `FROUDE_1998`, shape (9,).

    Above 0.45, where the three hulls end, as at 0.45.
    """
    logs = []
    for ratios, per_mille in HULLS_1981:
        bare = np.maximum(_series_1998(form_from_ratios(*ratios))[: len(per_mille)], 1e-4)
        logs.append(np.log(np.array(per_mille) / 1000 / bare))
    ratio = np.exp(np.mean(logs, axis=0))
    return np.pad(ratio, (0, len(FROUDE_1998) - len(ratio)), mode="edge")


@cache
def _floor_frac() -> Floats:
    """A third of the three hulls' mean, at `FROUDE_1998`, shape (9,): no hull has less."""
    mean = np.exp(np.mean([np.log(row) for _, row in HULLS_1981], axis=0)) / 1000
    return np.pad(mean / 3, (0, len(FROUDE_1998) - len(mean)), mode="edge")


def _table_frac(form: Form, *, appended: bool) -> Floats:
    """Residuary resistance over weight at `FROUDE`, positive and never falling. (12,)"""
    ratio = _appended_ratio()
    bare = np.maximum(_series_1998(form), _floor_frac() / ratio)
    slow = bare * ratio if appended else bare
    later = np.maximum(_series_2008(form), 1e-4)
    fast = slow[-1] * later[1:] / later[0]
    return np.maximum.accumulate(np.concatenate([slow, fast]))


def residuary_frac(form: Form, froude: Floats, *, appended: bool = True) -> Floats:
    """Residuary resistance over the weight of the displaced water.

    Args:
        form: The hull.
        froude: Speed over sqrt(g · length), shape (k,).
        appended: With keel and rudder: the series of 1998 times what three published hulls
            of 1981 show above it. Else the series' bare canoe body.
    Returns:
        Shape (k,), positive and rising. Between the series' speeds a smooth curve through log
        over log, since straight lines would leave corners of three per cent about Froude 0.33,
        where the hump begins; where the polynomial is not positive (it can be below 0.25) a
        third of the 1981 mean is kept; outside 0.20 to 0.75 it goes over into powers.
    """
    places, log_r = np.log(FROUDE), np.log(_table_frac(form, appended=appended))
    low, high = log_r[0] - LOW_EXPONENT * OVER, log_r[-1] + HIGH_EXPONENT * OVER
    places = np.concatenate([[places[0] - OVER], places, [places[-1] + OVER]])
    log_f = np.log(np.maximum(froude, 1e-3))
    inside = _smooth(log_f, places, np.concatenate([[low], log_r, [high]]))
    below = LOW_EXPONENT * np.minimum(log_f - places[0], 0.0)
    above = HIGH_EXPONENT * np.maximum(log_f - places[-1], 0.0)
    return np.asarray(np.exp(inside + below + above))


def _smooth(at: Floats, places: Floats, values: Floats) -> Floats:
    """Piecewise cubics through rising values, never falling; held at the ends.

    Source: slopes by F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300. The
    library that has it too costs the short answers most of a second to load.
    """
    step = np.diff(places)
    rise = np.maximum(np.diff(values) / step, 1e-9)
    before, after = step[:-1] + 2 * step[1:], 2 * step[:-1] + step[1:]
    slope = (before + after) / (before / rise[:-1] + after / rise[1:])
    slope = np.concatenate([rise[:1], slope, rise[-1:]])
    k = np.clip(np.searchsorted(places, at) - 1, 0, len(step) - 1)
    t = np.clip((at - places[k]) / step[k], 0.0, 1.0)
    share = t * t * (3 - 2 * t)
    bend = t * (1 - t) * step[k] * ((1 - t) * slope[k] - t * slope[k + 1])
    return np.asarray((1 - share) * values[k] + share * values[k + 1] + bend)


def residuary_n(form: Form, speed_mps: Floats, *, appended: bool = True) -> Floats:
    """Residuary resistance. [N], shape of `speed_mps`; see `residuary_frac`."""
    froude = speed_mps / np.sqrt(GRAVITY * form.length_m)
    weight_n = form.volume_m3 * form.water.density_kg_m3 * GRAVITY
    return residuary_frac(form, froude, appended=appended) * weight_n

"""The invented boat of a kind and number.

Sizes and spreads are common practice for electrified yachts of 6 to 10.5 m and open launches of
4 to 6 m, no source; packs in service have 70 to 105 % of their label, skewed to low (assumed).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from replay.boatsim.boat import AnyCells, Faults, SimBoat
from replay.boatsim.physics.hull import GRAVITY_MPS2, Hull
from replay.boatsim.scene import Shore
from tests.boats.half_cells import Balance
from tests.boats.ion_pack import IonCells
from tests.boats.kinds import Kind
from tests.boats.lead_pack import LeadCells, fitted
from tests.boats.random_boat import (
    drive_input_w,
    fitted_drive,
    fitted_runs,
    random_instruments,
    random_water,
)
from tests.boats.small_ships import displacement_n, launch_n

Rng = np.random.Generator
Floats = npt.NDArray[np.float64]

MEAN_V = {"lfp": 3.27, "nmc": 3.70, "agm": 12.1, "lead_acid": 12.0}  # of what `cell_v` counts
CUTOFF_V = {"lfp": 2.6, "nmc": 3.0, "agm": 10.5, "lead_acid": 10.5}
LEAD = ("agm", "lead_acid")
SHAPE_KNOTS = 5  # of a boat's own departure from the hull regression


@dataclass(frozen=True)
class KindBoat:
    """A boat of a kind with its charger; label_frac: true capacity over the label."""

    kind: Kind
    number: int
    boat: SimBoat
    shore: Shore
    label_frac: float


def aged_frac(rng: Rng) -> float:
    """True capacity over the label: 0.70 to 1.05, most about 0.94, a tail to low."""
    return 1.05 - 0.35 * float(rng.beta(1.5, 2.6))


def _departure(rng: Rng) -> tuple[float, ...]:
    level, tilt = float(rng.normal(0, 0.10)), float(rng.normal(0, 0.07))
    line = level + tilt * np.linspace(-1, 1, SHAPE_KNOTS) + rng.normal(0, 0.03, SHAPE_KNOTS)
    return tuple(np.exp(line).tolist())


def yacht(rng: Rng) -> Hull:
    """A keel yacht of 5.8 to 10.5 m on the waterline."""
    length = float(rng.uniform(5.8, 10.5))
    volume = (length / float(rng.uniform(4.4, 5.6))) ** 3
    beam = length / float(rng.uniform(3.0, 3.6))
    prismatic = float(rng.uniform(0.54, 0.59))
    draught = volume / (prismatic * float(rng.uniform(0.70, 0.78)) * length * beam)
    wetted = 2.7 * math.sqrt(volume * length) * float(rng.normal(1, 0.03))  # D. W. Taylor's form
    long_keel = bool(rng.random() < 0.3)
    return Hull(
        waterline_m=length,
        beam_m=beam,
        body_draught_m=draught,
        draught_m=draught + float(rng.uniform(0.5, 1.1)),
        volume_m3=volume,
        prismatic=prismatic,
        waterplane_m2=0.68 * length * beam,
        wetted_m2=wetted,
        keel_wetted_m2=wetted * float(rng.uniform(0.35, 0.5) if long_keel else 0.25),
        keel_chord_m=length * (0.5 if long_keel else 0.15),
        lcb_frac=float(rng.uniform(0.51, 0.535)),
        lcf_frac=0.55,
        rough_frac=float(rng.uniform(0.05, 0.40)),
        residuary_factor=_departure(rng),
        windage_m2=(1.1 + 0.40 * length) * float(rng.uniform(0.7, 1.3)),
        mass_kg=volume * 1025.0,
        entrance_deg=float(rng.uniform(17, 25)),
        waves_n=displacement_n,
    )


def launch(rng: Rng) -> Hull:
    """An open launch of 4 to 6 m with people in it."""
    length = float(rng.uniform(3.8, 5.8))
    mass = float(rng.uniform(70, 130)) * length  # with two to four people
    volume, beam = mass / 1015.0, float(rng.uniform(1.35, 1.75))
    prismatic = float(rng.uniform(0.60, 0.68))
    draught = volume / (prismatic * 0.80 * length * beam)
    return Hull(
        waterline_m=length,
        beam_m=beam,
        body_draught_m=draught,
        draught_m=draught + float(rng.uniform(0.12, 0.35)),
        volume_m3=volume,
        prismatic=prismatic,
        waterplane_m2=0.75 * length * beam,
        wetted_m2=2.75 * math.sqrt(volume * length),
        keel_wetted_m2=0.35 * float(rng.uniform(0.5, 1.5)),
        keel_chord_m=0.5 * length,
        lcb_frac=float(rng.uniform(0.51, 0.54)),
        lcf_frac=0.56,
        rough_frac=float(rng.uniform(0.05, 0.35)),
        residuary_factor=_departure(rng),
        windage_m2=float(rng.uniform(0.9, 1.8)),
        mass_kg=mass,
        entrance_deg=float(rng.uniform(18, 28)),
        waves_n=launch_n,
    )


def ion_cells(rng: Rng, positive: str, number: int, rated_ah: float, label_frac: float) -> IonCells:
    """Cells of a lithium pack that has aged to `label_frac`."""
    share = min(label_frac, 1.0)
    if positive == "lfp":
        balance = Balance(
            "lfp", float(rng.uniform(0.008, 0.016)), float(rng.uniform(0.76, 0.84)),
            float(rng.uniform(0.945, 0.96)), float(rng.uniform(0.018, 0.03)),
            float(rng.uniform(0.0, 0.6)), 1 - share,
        )  # fmt: skip
    else:
        balance = Balance(
            "nmc", float(rng.uniform(0.008, 0.016)), float(rng.uniform(0.80, 0.88)),
            float(rng.uniform(0.90, 0.95)), float(rng.uniform(0.12, 0.16)), 0.0, 1 - share,
        )  # fmt: skip
    older = 1 + 2.0 * (1 - share)  # resistance grows with age, assumed
    size = rated_ah / older

    def each(mean: float, spread: float) -> Floats:
        return np.asarray(mean * (1 + spread * rng.standard_normal(number)))

    return IonCells(
        capacity_ah=each(rated_ah * label_frac, 0.006),
        r_ohm=each(float(rng.uniform(0.04, 0.09)) / size, 0.04),
        exchange_a=each(float(rng.uniform(0.5, 1.3)) * size, 0.05),
        diffusion_ohm=each(float(rng.uniform(0.04, 0.10)) / size, 0.05),
        diffusion_s=float(rng.uniform(500, 1800)),
        balance=balance,
        hysteresis_v=float(rng.uniform(0.006, 0.016) if positive == "lfp" else 0.003),
        ohmic_k=float(rng.uniform(10e3, 18e3)) / 8.314,
        transfer_k=float(rng.uniform(28e3, 40e3)) / 8.314,
        heat_j_k=20.0 * rated_ah,
        loss_w_k=0.045 * rated_ah ** (2 / 3),
        link_ohm=float(rng.uniform(0.03, 0.08)) * number / 1000 * 100 / rated_ah,
    )


def lead_cells(rng: Rng, name: str, blocks: int, rated_ah: float, label_frac: float) -> LeadCells:
    """Blocks of a lead-acid pack that has aged to `label_frac`.

    Acid, pores and diffusion so that 10, 5, 3 and 1 h give about 95, 88, 80 and 60 % (glass mat)
    and 95, 85, 74 and 45 % (flooded, thick plates) of the 20 h capacity: makers' tables, memory.
    """
    mat = name == "agm"
    older = 1 + 1.5 * max(1 - label_frac, 0.0)
    capacity = rated_ah * label_frac * (1 + 0.015 * rng.standard_normal(blocks))
    return fitted(
        LeadCells(
            capacity_ah=capacity,
            full_mol_l=float(rng.uniform(5.3, 5.7) if mat else rng.uniform(4.8, 5.1)),
            acid_l_ah=float(rng.uniform(0.0080, 0.0090) if mat else rng.uniform(0.0115, 0.0135)),
            pore_frac=float(rng.uniform(0.44, 0.52) if mat else rng.uniform(0.38, 0.47)),
            diffusion_s=float(rng.uniform(1800, 3000) if mat else rng.uniform(3200, 5500)),
            active_frac=float(rng.uniform(1.2, 1.3)),
            exchange_c=float(rng.uniform(0.25, 0.40)),
            ohm_ah=older * float(rng.uniform(0.18, 0.28) if mat else rng.uniform(0.28, 0.38)),
            gas_a_100ah=float(rng.uniform(0.008, 0.02) if mat else rng.uniform(0.02, 0.06)),
            heat_j_k=9000.0 * rated_ah / 100,
            loss_w_k=2.0 * (rated_ah / 100) ** (2 / 3),
            link_ohm=0.0003 * blocks * 100 / rated_ah,
            size_ah=capacity,
        )
    )


def _shore(rng: Rng, name: str, count: int, rated_ah: float) -> Shore:
    rate = float(rng.uniform(0.12, 0.25) if name not in LEAD else rng.uniform(0.10, 0.18))
    volts = {
        "lfp": float(rng.uniform(3.45, 3.60)),
        "nmc": float(rng.choice([4.05, 4.10, 4.15, 4.20])),
        "agm": 6 * float(rng.uniform(2.38, 2.44)),
        "lead_acid": 6 * float(rng.uniform(2.42, 2.50)),
    }[name]
    return Shore(rate * rated_ah, round(volts * count, 1))


def _faults(kind: Kind, rng: Rng, count: int, current_a: float) -> Faults:
    cell = int(rng.integers(1, count + 1))
    if kind.fault == "cell":
        which = int(rng.integers(3))
        return (
            Faults(weak_cell=cell, weak_factor=float(rng.uniform(1.5, 2.5))),
            Faults(small_cell=cell, small_factor=float(rng.uniform(0.75, 0.92))),
            Faults(low_cell=cell, low_frac=float(rng.uniform(0.05, 0.14))),
        )[which]
    if kind.fault == "loose":
        ohm = float(rng.uniform(2, 6)) / max(current_a, 10.0) ** 2
        return Faults(loose_run=int(rng.choice([0, 1, 3])), loose_from_s=3000.0,
                      loose_to_s=12000.0, loose_ohm=ohm)  # fmt: skip
    return Faults()


def kind_boat(kind: Kind, number: int) -> KindBoat:
    """The boat of that number of a kind; the same number is always the same boat."""
    rng = np.random.default_rng([number, *kind.name.encode()])
    water = random_water(rng)
    hull = launch(rng) if kind.hull == "launch" else yacht(rng)
    drive = fitted_drive(rng, hull, water, 0.42 if kind.hull == "launch" else 0.36)
    cruise = 0.31 * math.sqrt(GRAVITY_MPS2 * hull.waterline_m)
    cruise_w = drive_input_w(hull, water, drive, cruise)
    count, label_frac = _count(kind, drive.rated_power_w), aged_frac(rng)
    volts = count * MEAN_V[kind.cells]
    hours = rng.uniform(4.5, 7.5) if kind.cells in LEAD else rng.uniform(2.4, 5.0)
    rated_ah = float(max(round(cruise_w * float(hours) / volts / 5) * 5, 20))
    cells: AnyCells
    if kind.cells in LEAD:
        cells = lead_cells(rng, kind.cells, count, rated_ah, label_frac)
    else:
        cells = ion_cells(rng, kind.cells, count, rated_ah, label_frac)
    small = kind.hull == "launch"
    instruments = random_instruments(rng)
    boat = SimBoat(
        name=f"{kind.name} {number} (invented)",
        hull=hull,
        water=water,
        drive=drive,
        cells=cells,
        runs=fitted_runs(rng, drive.rated_power_w * 1.15 / volts),
        rated_ah=rated_ah,
        cutoff_v=CUTOFF_V[kind.cells],
        cutback_v=round(count * CUTOFF_V[kind.cells] * 1.0, 1),
        reserve_frac=float(rng.choice([0.2, 0.3, 0.5]) if kind.cells in LEAD else 0.2),
        hotel_w=float(rng.uniform(3, 12) if small else rng.uniform(12, 60)),
        pilot_w=0.0 if small else float(rng.uniform(5, 30)),
        fridge_w=0.0 if small else float(rng.choice([0.0, 35.0, 50.0])),
        solar_peak_w=0.0 if small else float(rng.choice(kind.panels_w)),
        instruments=replace(instruments, shunt_offset_a=float(rng.normal(0, 0.25)),
                            shunt_gain=float(rng.normal(1, 0.006))),
        faults=_faults(kind, rng, count, 0.5 * drive.rated_power_w / volts),
        charge_spread=float(rng.uniform(0.001, 0.006)),
    )  # fmt: skip
    return KindBoat(kind, number, boat, _shore(rng, kind.cells, count, rated_ah), label_frac)


def _count(kind: Kind, power_w: float) -> int:
    """Cells, or blocks of lead-acid, in series."""
    small = power_w < 3000
    return {"lfp": 8 if small else 16, "nmc": 7 if small else 14}.get(kind.cells, 2 if small else 4)

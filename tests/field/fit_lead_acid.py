"""Fits the two wells to makers' discharge tables, class by class, and prints each kind's prior.

Run as `python -m tests.field.fit_lead_acid`; it takes about a minute. What it prints stands in
`analyzer/pack/lead_acid/prior.py`, and `test_pack_lead_acid_tables.py` holds both together.

Each class of block is fitted alone: five numbers to its currents and powers at four end voltages.
A class with no more than amp-hours by hours tells c and k; the other three are then the mean of
those that tell all. The prior of a kind is the mean over its classes, and its covariance what a
further class would differ by.
"""

import numpy as np
from scipy.optimize import least_squares

from analyzer.pack.chemistry import chemistry
from analyzer.pack.lead_acid.prior import NAMES, from_coordinates
from analyzer.pack.lead_acid.wells import (
    Held,
    Wells,
    charge_frac,
    full,
    rate_factor,
    run_to_limit,
    surface_v,
    total_for,
)
from tests.field.lead_acid_tables import FITTED, Table

Floats = np.ndarray
# Logarithm's share that a table's own steps and rounding are worth; fitted ones scatter as much.
TABLE_SD = 0.015
# A weak pull to the middle of what is plausible, for what a table says little of: coordinates as
# in `lead_acid.prior.NAMES`. Standard deviations so wide that they change no class by over 1 %.
START = np.array([0.0, np.log(0.9), np.log(0.07), 0.03, np.log(0.12)])
WIDE = np.array([1.5, 1.5, 0.7, 0.03, 0.5])


def branch_v(kind: str, soc: Floats) -> Floats:
    """Rest voltage while discharging, of the kind's mean curve."""
    return chemistry(kind).ocv_v(soc, hysteresis=-1.0)


def wells_of(table: Table, x: Floats) -> tuple[Wells, float]:
    """Wells of a block with these coordinates, shape (1, 1), and its resistance. [ohm]"""
    share, rate, spread, activation, ohm_ah = (np.full((1, 1), v) for v in from_coordinates(x))
    rate = rate * rate_factor(table.temp_c)
    drop = float(branch_v(table.kind, np.zeros(1))[0]) - activation - ohm_ah / 20.0 - 1.75
    label = np.full((1, 1), table.label_ah)
    total = total_for(label, share, rate, drop, spread)
    return Wells(label, total, share, rate, spread, activation), float(
        ohm_ah[0, 0]
    ) / table.label_ah


def hours_at(
    table: Table, wells: Wells, ohm: float, row: Floats, cut_v: float, power: bool
) -> Floats:
    """Hours from full to an end voltage at constant currents or powers, (n, k) for a row (k,)."""

    def source_v(held: Held) -> Floats:
        return branch_v(table.kind, charge_frac(wells, held)) + surface_v(wells, held)

    def load(held: Held) -> Floats:
        if not power:
            return np.broadcast_to(row, (len(wells.share), len(row)))
        volts = source_v(held)
        inside = np.maximum(volts**2 - 4 * ohm * row, 0.0)
        return (volts - np.sqrt(inside)) / (2 * ohm)

    def margins(held: Held, amps: Floats) -> Floats:
        return (source_v(held) - ohm * amps - cut_v)[None]

    return run_to_limit(wells, full(wells), np.zeros((1, 1)), load, margins).hours


def misses(table: Table, x: Floats) -> Floats:
    """Logarithm of predicted over published hours, all rows of a table."""
    wells, ohm = wells_of(table, x)
    rows = [(v, row, False) for v, row in table.current_a.items()]
    rows += [(v, row, True) for v, row in table.power_w.items()]
    off = []
    for cut_v, row, power in rows:
        there = np.isfinite(row)
        loads, hours = np.array(row)[there], np.array(table.hours)[there]
        found = hours_at(table, wells, ohm, loads, cut_v, power)[0]
        off.append(np.log(np.maximum(found, 1e-3) / hours))
    return np.concatenate(off)


def fit(table: Table, middle: Floats | None = None) -> Floats:
    """Coordinates of one class; the last three held at `middle` where it is given."""

    def residual(x: Floats) -> Floats:
        whole = x if middle is None else np.r_[x, middle[2:]]
        return np.r_[misses(table, whole) / TABLE_SD, ((whole - START) / WIDE)[: len(x)]]

    start = START if middle is None else START[:2]
    found = least_squares(residual, start, diff_step=1e-4).x
    return found if middle is None else np.r_[found, middle[2:]]


def fitted() -> dict[str, tuple[Table, Floats]]:
    """Every class that is fitted by its name: those that tell all first."""
    out = {name: (t, fit(t)) for name, t in FITTED.items() if t.power_w}
    middle = np.mean([x for _, x in out.values()], axis=0)
    return out | {name: (t, fit(t, middle)) for name, t in FITTED.items() if not t.power_w}


def priors(found: dict[str, tuple[Table, Floats]]) -> dict[str, tuple[Floats, Floats]]:
    """Mean and covariance of a further class, by kind.

    c and k by the kind's own classes; flooded and gel have so few that the glass mats' covariance
    is pooled with theirs. The last three are those of the classes that tell all, by themselves.
    """
    whole = np.array([x for t, x in found.values() if t.power_w])
    kinds = ("agm", "gel", "lead_acid")
    own = {k: np.array([x[:2] for t, x in found.values() if t.kind == k]) for k in kinds}
    spread = {k: (len(rows) - 1) * np.cov(rows.T) for k, rows in own.items()}
    out = {}
    for kind, rows in own.items():
        others = () if kind == "agm" else ("agm",)
        freedom = sum(len(own[k]) - 1 for k in (kind, *others))
        cov = np.diag(np.r_[0.0, 0.0, whole[:, 2:].var(axis=0, ddof=1) * (1 + 1 / len(whole))])
        cov[:2, :2] = sum(spread[k] for k in (kind, *others)) / freedom * (1 + 1 / len(rows))
        out[kind] = (np.r_[rows.mean(axis=0), whole[:, 2:].mean(axis=0)], cov)
    return out


def main() -> None:
    """Prints each class and each kind's prior."""
    found = fitted()
    for name, (table, x) in found.items():
        off = misses(table, x)
        values = ", ".join(f"{n} {v:.3f}" for n, v in zip(NAMES, from_coordinates(x), strict=True))
        print(
            f"{name}: {values}; rms {100 * np.sqrt(np.mean(off**2)):.1f} %, "
            f"most {100 * np.abs(off).max():.1f} %"
        )
    for kind, (mean, cov) in priors(found).items():
        print(kind, np.round(mean, 3).tolist(), np.round(cov, 4).tolist())


if __name__ == "__main__":
    main()

"""The pack's mean cell: its chemistry and its equivalent circuit, default or learned.

Everything is per cell; a pack is `cells_in_series` of them.
"""

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from analyzer.pack.chemistry import (
    Chemistry,
    Floats,
    Numeric,
    arrhenius,
    chemistry,
)
from analyzer.pack.curves.service_prior import SERVICE, Part, drawn_parts, moments
from logger.boat import Pack

__all__ = [
    "Cell",
    "CellParams",
    "Chemistry",
    "Floats",
    "Numeric",
    "arrhenius",
    "chemistry",
    "default_cell",
    "default_params",
    "label",
    "measured_capacity",
]


@dataclass(frozen=True)
class CellParams:
    """Equivalent circuit of the mean cell at 25 °C: one resistor, two resistor-capacitor pairs."""

    r0_ohm: float
    r1_ohm: float
    tau1_s: float
    r2_ohm: float
    tau2_s: float
    capacity_ah: float


@dataclass(frozen=True)
class Cell:
    """What is believed about the mean cell before a stretch of log is looked at."""

    kind: Chemistry
    params: CellParams
    capacity: tuple[Part, ...]  # of ln(capacity over the parameters')
    curve_ln_q: float  # that at which the curve's mean holds

    @property
    def capacity_ln_mean(self) -> float:
        """Mean over the parts."""
        return moments(self.capacity)[0]

    @property
    def capacity_sd(self) -> float:
        """Standard deviation over the parts."""
        return moments(self.capacity)[1]

    def to_dict(self) -> dict[str, Any]:
        """Plain dict of numbers, strings and lists, for the log; a default set by its name."""
        parts = [list(part) for part in self.capacity]
        capacity = {"capacity": parts, "curve_ln_q": self.curve_ln_q}
        # a default set is kept by its name, so that a later release's better one is used
        if self.kind is chemistry(self.kind.name):
            known = {"kind": self.kind.name, "params": asdict(self.params)}
            return {**known, **capacity}
        kind = {k: v.tolist() if hasattr(v, "tolist") else v for k, v in vars(self.kind).items()}
        return {"kind": kind, "params": asdict(self.params), **capacity}

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> "Cell":
        """The cell that `to_dict` gave."""
        capacity = tuple((float(w), float(mean), float(sd)) for w, mean, sd in data["capacity"])
        # earlier releases took the curve's mean for that of the parts
        curve_ln_q = float(data.get("curve_ln_q", moments(capacity)[0]))
        params = CellParams(**data["params"])
        if isinstance(data["kind"], str):
            return cls(chemistry(data["kind"]), params, capacity, curve_ln_q)
        kind: dict[str, Any] = {
            k: np.array(v) if isinstance(v, list) else v for k, v in data["kind"].items()
        }
        return cls(Chemistry(**kind), params, capacity, curve_ln_q)


def default_params(pack: Pack) -> CellParams:
    """The mean cell's circuit before anything was learned, from the chemistry and rated Ah.

    A maker's `cell_resistance_ohm` is taken for r0 and r1 together; r2 follows.
    """
    kind = chemistry(pack.chemistry)
    # larger cells of a make have as many more plates in parallel: resistance goes with 1 / Ah
    ah = pack.rated_capacity_ah
    r0, r1, r2 = kind.r0_ohm_ah / ah, kind.r1_ohm_ah / ah, kind.r2_ohm_ah / ah
    if pack.cell_resistance_ohm is not None:
        scale = pack.cell_resistance_ohm / (r0 + r1)
        r0, r1, r2 = r0 * scale, r1 * scale, r2 * scale
    return CellParams(r0, r1, kind.tau1_s, r2, kind.tau2_s, ah)


def default_cell(pack: Pack) -> Cell:
    """The mean cell before anything was learned."""
    kind = chemistry(pack.chemistry)
    capacity = kind.capacity
    # What the owner knows of its age tells more than what packs in service are; the curve's mean
    # stays that of packs in service, and goes along with the capacity.
    if pack.age_years is not None:
        capacity = drawn_parts(SERVICE[kind.name], pack.age_years)
    return Cell(kind, default_params(pack), capacity, moments(kind.capacity)[0])


def measured_capacity(cell: Cell, sd: float) -> Cell:
    """The cell with its parameters' capacity measured within a relative standard deviation."""
    # the skew of packs in service is no news of one that was measured
    return replace(cell, capacity=((1.0, 0.0, sd),), curve_ln_q=0.0)


def label(pack: Pack) -> str:
    """The numbers of a pack that all that is learned of its charge rests on."""
    ohm = "" if pack.cell_resistance_ohm is None else f" {pack.cell_resistance_ohm:g} ohm"
    age = "" if pack.age_years is None else f" {pack.age_years:g} years"
    return f"{pack.chemistry} {pack.cells_in_series} x {pack.rated_capacity_ah:g} Ah{ohm}{age}"

"""What a lead-acid cell under load lies below its rest voltage by, from makers' tables.

Run as `python -m tests.field.fit_lead_loss`. A table that prints currents and powers for the same
hours prints the mean voltage of a discharge as their ratio. Less the mean of the rest curve over
the charge taken out, that is the mean loss. Beside it stands what the charge filter's circuit
loses, whose constants (`analyzer/pack/chemistry.py`) come from these tables.
"""

import numpy as np

import tests.field.lead_acid_tables as tables
from analyzer.pack.chemistry import Chemistry, chemistry
from tests.field.lead_acid_tables import Table

Floats = np.ndarray
END_V = 1.75  # of a cell, in every one of these tables
PLACES = 200  # of charge, for a mean


def printing_powers() -> dict[str, Table]:
    """Tables that print currents and powers, by name."""
    found = {name: table for name, table in vars(tables).items() if isinstance(table, Table)}
    return {name: table for name, table in found.items() if table.power_w}


def discharged(table: Table) -> tuple[Floats, Floats]:
    """Current over the label's amp-hours [1/h], and places of charge gone through, (k, places)."""
    rate = np.array(table.current_a[END_V]) / table.label_ah
    lowest = np.maximum(1.0 - rate * np.array(table.hours), 0.0)
    return rate, np.linspace(np.ones_like(rate), lowest, PLACES, axis=1)


def published_loss_v(table: Table) -> Floats:
    """Mean rest voltage on the discharge branch less the mean voltage, (k,). [V]"""
    _, charge = discharged(table)
    rest_v = chemistry(table.kind).ocv_v(charge, hysteresis=-1.0).mean(axis=1)
    return rest_v - np.array(table.power_w[END_V]) / np.array(table.current_a[END_V])


def circuit_loss_v(table: Table) -> Floats:
    """The same of the charge filter's circuit, settled, (k,). [V]"""
    kind = chemistry(table.kind)
    rate, charge = discharged(table)
    shape = np.interp(charge, kind.soc, kind.fast_shape).mean(axis=1)
    return shape * settled_loss_v(kind, rate)


def settled_loss_v(kind: Chemistry, rate: Floats) -> Floats:
    """Loss at mid charge after a long time at a current over the amp-hours. [V]"""
    ohm_ah = kind.r0_ohm_ah + kind.r1_ohm_ah + kind.r2_ohm_ah
    return kind.activation_loss_v(rate, 25.0, 1.0) + ohm_ah * rate


def main() -> None:
    """Prints both for every table."""
    for name, table in printing_powers().items():
        rate, _ = discharged(table)
        published, own = 1e3 * published_loss_v(table), 1e3 * circuit_loss_v(table)
        print(f"{name}: load {rate.round(3).tolist()} of the amp-hours an hour")
        print(f"  published {published.round().tolist()} mV, circuit {own.round().tolist()} mV")


if __name__ == "__main__":
    main()

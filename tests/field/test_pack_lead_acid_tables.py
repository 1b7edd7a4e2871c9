"""The two wells against makers' discharge tables that their prior was not fitted to.

Tables: `lead_acid_tables.py`, where each names its source. Told are only the kind of cell and the
label's capacity, which is what the table gives in 20 hours; everything else is the prior.
"""

import numpy as np
import pytest

from analyzer.pack.lead_acid.prior import (
    LAST_MEAN,
    NAMES,
    PRIORS,
    Prior,
    draw_wells,
    from_coordinates,
)
from analyzer.pack.lead_acid.wells import Wells, capacity_factor
from tests.field.fit_lead_acid import branch_v, fitted, hours_at, misses, priors
from tests.field.lead_acid_tables import FITTED, HELD_OUT, Table

pytestmark = pytest.mark.field

DRAWS = 1000
# Scatter of new blocks about their maker's table: IEC 60896-21 asks at least 95 % of every block.
LABEL_SD = 0.03


def samples(table: Table) -> tuple[Wells, np.ndarray]:
    """Wells and resistances that the prior draws for a block of this label, (n, 1) each.

    A label is what the block gives at its maker's own temperature, at which the table is too.
    """
    rng = np.random.default_rng(7)
    cold = np.full(DRAWS, table.temp_c)
    ah = table.label_ah / capacity_factor(cold) * np.exp(LABEL_SD * rng.standard_normal(DRAWS))
    wells = draw_wells(table.kind, ah, cold, float(branch_v(table.kind, np.zeros(1))[0]), rng)
    sd = PRIORS[table.kind].cov[-1, -1] ** 0.5
    ohm = np.exp(LAST_MEAN[-1] + sd * rng.standard_normal((DRAWS, 1))) / table.label_ah
    return wells.column(), ohm


def shown(table: Table, rows, wells: Wells, ohm, power: bool) -> list[tuple]:
    """Per row and hour: end voltage, hours, median over published less 1, whether 80 % holds."""
    out = []
    for cut_v, row in rows.items():
        hours = hours_at(table, wells, ohm, np.array(row), cut_v, power)
        low, mid, high = np.quantile(hours, [0.1, 0.5, 0.9], axis=0)
        told = np.array(table.hours)
        held = (low <= told) & (told <= high)
        out += zip(
            [cut_v] * len(told), told, mid / told - 1, held, low / told, high / told, strict=True
        )
    return out


@pytest.fixture(scope="module")
def judged():
    """Class and whether power -> rows of `shown`."""
    out = {}
    for name, table in HELD_OUT.items():
        wells, ohm = samples(table)
        out[name, False] = shown(table, table.current_a, wells, ohm, False)
        out[name, True] = shown(table, table.power_w, wells, ohm, True)
    return out


@pytest.mark.parametrize("power", [False, True], ids=["constant current", "constant power"])
@pytest.mark.parametrize("name", HELD_OUT)
def test_hours_of_a_table_that_was_not_fitted(judged, name, power):
    """Within 10 % from 1 h to 20 h at the label's end voltage, in time and so in energy."""
    rows = [r for r in judged[name, power] if r[0] == 1.75]
    for cut_v, hours, off, held, low, high in rows:
        print(
            f"{name} {'W' if power else 'A'} {hours:4.0f} h to {cut_v} V: {100 * off:+5.1f} %,"
            f" 80 % range {low:.2f} to {high:.2f}{'' if held else ', not held'}"
        )
    assert max(abs(r[2]) for r in rows) < 0.10


@pytest.mark.parametrize("name", HELD_OUT)
def test_range_holds_a_table_that_was_not_fitted(judged, name):
    """An 80 % range holds at least 80 % of the rows, all end voltages (misses lie together)."""
    held = [r[3] for power in (False, True) for r in judged[name, power]]
    print(f"{name}: {np.mean(held):.2f} of {len(held)} rows held")
    assert np.mean(held) >= 0.8


@pytest.fixture(scope="module")
def classes():
    """Every class that is fitted, with its coordinates."""
    return fitted()


def misses_by(figure: str) -> pytest.MarkDecorator:
    """A class that differs more from the others than 10 % at 1 h."""
    floor = "floor: told is only glass mat, and classes give 52 to 61 % of their label in 1 h"
    return pytest.mark.xfail(strict=True, reason=f"{figure} at 1 h; {floor}")


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("deep cycle", marks=misses_by("-10.3 %")),
        "pure lead",
        pytest.param("standby", marks=misses_by("+20.6 %, outside the 80 % range")),
    ],
)
def test_hours_of_a_fitted_class_by_the_others_alone(classes, monkeypatch, name):
    """Each class that prints powers left out of the fit in turn: within 10 % from 1 h to 20 h."""
    rest = {k: v for k, v in classes.items() if k != name}
    monkeypatch.setitem(PRIORS, "agm", Prior(*priors(rest)["agm"]))
    table = FITTED[name]
    wells, ohm = samples(table)
    rows = {1.75: table.power_w[1.75]}
    off = [r[2] for r in shown(table, rows, wells, ohm, True)]
    print(f"{name} left out, W: " + ", ".join(f"{100 * o:+.1f} %" for o in off))
    assert max(map(abs, off)) < 0.10


def test_prior_is_what_the_fit_gives(classes):
    """The constants of `lead_acid/prior.py` are reproducible from the tables, to their rounding."""
    found = classes
    for name, (table, x) in found.items():
        off = misses(table, x)
        values = ", ".join(f"{n} {v:.3f}" for n, v in zip(NAMES, from_coordinates(x), strict=True))
        print(f"{name}: {values}; rms {100 * np.sqrt(np.mean(off**2)):.1f} %")
    assert set(found) == set(FITTED)
    for kind, (mean, cov) in priors(found).items():
        assert PRIORS[kind].mean == pytest.approx(mean, abs=0.002)
        assert PRIORS[kind].cov == pytest.approx(cov, abs=0.002)

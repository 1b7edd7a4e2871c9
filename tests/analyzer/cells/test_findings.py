"""What is said of a cell that stands out: figures by hand, remedies and cautions by their use."""

import pytest

from analyzer.cells.findings import CAUTION, CHARGING_CAUTION, Standout, detection
from analyzer.estimation.estimate import Estimate


def said(kind, size, name="cell 7", usual_ohm=float("nan")):
    return detection(Standout(name, kind, size, 0.95, usual_ohm))


def test_a_raised_resistance_is_told_beside_that_of_the_others():
    found = said("cell_resistance", Estimate(0.3e-3, 0.2e-3, 0.4e-3, "ohm"), usual_ohm=0.5e-3)
    # 0.3 of 0.5
    assert "0.30 mΩ more" in found.text
    assert "60 % above their 0.50 mΩ" in found.text


@pytest.mark.parametrize("kind", ["cell_charge", "cell_capacity", "cell_behind"])
def test_what_is_missing_is_told_in_percent(kind):
    found = said(kind, Estimate(0.0564, 0.04, 0.07, "frac"))
    assert found.text.startswith("Cell 7 ")
    assert "5.6 %" in found.text
    assert (found.subject, found.kind, found.sureness_frac) == ("cell 7", kind, 0.95)


def test_who_is_told_to_charge_is_warned_of_charging_and_others_of_a_short_circuit():
    size = Estimate(0.1, 0.08, 0.12, "frac")
    for kind in ("cell_charge", "cell_behind"):
        found = said(kind, size)
        assert found.caution == CHARGING_CAUTION
        assert "charge" in found.cure
    assert said("cell_capacity", size).caution == CAUTION
    ohm = Estimate(0.3e-3, 0.2e-3, 0.4e-3, "ohm")
    assert said("cell_resistance", ohm, usual_ohm=0.5e-3).caution == CAUTION


def test_a_block_is_charged_by_itself_and_a_cell_held_at_the_top():
    size = Estimate(0.1, 0.08, 0.12, "frac")
    assert "its own charger" in said("cell_charge", size, "block 2").cure
    assert "at the top" in said("cell_charge", size).cure


def test_a_size_that_is_known_roughly_is_told_with_its_range():
    """2 to 29 % with a middle of 15.2: no tenth of a point is known of it."""
    rough = detection(
        Standout("cell 3", "cell_charge", Estimate(0.152, 0.016, 0.288, "frac"), 0.99)
    )
    assert rough.text == "Cell 3 holds 15.2 % (2 to 29 %) less charge than the others"
    fine = detection(Standout("cell 3", "cell_charge", Estimate(0.152, 0.145, 0.160, "frac"), 0.99))
    assert fine.text == "Cell 3 holds 15.2 % less charge than the others"

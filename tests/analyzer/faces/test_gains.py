"""Sentences about other boats: signs, units, and what is not known."""

from dataclasses import replace

import pytest

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.faces import gains
from analyzer.faces.cli.text import gain as text_gain
from logger.units import NMI
from tests.support.invented_gain import GAIN

SIGNED = {
    (2.0 * NMI, 1.0 * NMI, 3.0 * NMI, "m"): "+2.0 nmi (+1.0 nmi to +3.0 nmi)",
    (-2.0 * NMI, -3.0 * NMI, -1.0 * NMI, "m"): "-2.0 nmi (-3.0 nmi to -1.0 nmi)",
    (16.0, 9.0, 23.0, "m"): "+16 m (+9 m to +23 m)",
    (0.0, -5.0, 4.0, "m"): "0 m (-5 m to +4 m)",
    (3600.0, 1800.0, 7200.0, "s"): "+1 h (+30 min to +2 h)",
    (338_400.0, 259_200.0, 504_000.0, "s"): "+94 h (+72 h to +140 h)",
    (0.12, 0.1, 0.14, "frac"): "+12 % (+10 % to +14 %)",
    (-80.0, -90.0, -70.0, "W"): "-80 W (-90 W to -70 W)",
}


@pytest.mark.parametrize("figure", SIGNED)
def test_a_difference_has_its_sign_and_unit(figure):
    assert gains.signed(Estimate(*figure)) == SIGNED[figure]


def test_what_is_not_known_says_why():
    assert gains.signed(cannot_say("the log is too short", "Wh")) == "the log is too short"


def test_the_answer_as_text():
    text = " ".join(text_gain.gain(GAIN).split())
    assert "1. A second pack of 120 Ah beside it Further +11 nmi (+9.2 nmi to +13 nmi)" in text
    assert "Mend the lug of battery negative Further +16 m (+9 m to +23 m)" in text
    assert "Would tell more: the controller's own voltage beside the pack's." in text
    assert "What is saved in a year cannot be said: a year wants 28 days" in text
    assert "cells are not measured. What would tell: one voltage for each cell or block." in text


def test_what_is_gained_by_the_day_is_not_called_further():
    sun = replace(GAIN.rows[0], measure="panel")
    assert gains.further(sun) == "A day's sun"
    assert gains.further(GAIN.rows[0]) == "Further"

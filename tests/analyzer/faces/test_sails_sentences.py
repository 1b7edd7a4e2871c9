"""Sails beside the motor in words: the condition before the figure, and what is left without."""

from dataclasses import replace

from analyzer.faces import sentences
from analyzer.faces.cli.text.answers import range_left
from tests.support.invented_answers import RANGE, estimate

NMI = 1852.0
ALONE = estimate(5 * NMI, 4 * NMI, 7 * NMI, "m")


def test_the_condition_stands_before_the_distance():
    sailed = replace(RANGE, sails_frac=0.97, without_sails=ALONE)
    assert sentences.lead(sailed).startswith("With the sails drawing as they do, at 4.5 kn")
    broken = replace(sailed, condition="with the pack current last read 40 s ago")
    want = "With the pack current last read 40 s ago, with the sails drawing as they do, at 4.5 kn"
    assert sentences.lead(broken).startswith(want)


def test_what_is_left_without_them_is_told_beside_it():
    sailed = replace(RANGE, sails_frac=0.97, without_sails=ALONE)
    want = (
        "You sail along: without the sails it is between 4.0 and 7.0 nautical miles at this speed. "
        "If none is set, the power is read too low"
    )
    assert sentences.without_sails(sailed) == want
    assert want in " ".join(range_left(sailed).split())


def test_a_boat_that_hardly_sails_is_told_nothing_of_it():
    motoring = replace(RANGE, sails_frac=0.03)
    assert sentences.without_sails(motoring) == ""
    assert "sails drawing" not in sentences.lead(motoring)
    assert "sail along" not in range_left(motoring)

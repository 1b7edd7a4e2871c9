"""After saving: what arrives now is told from what came long ago."""

import dataclasses

import pytest

from analyzer.estimation.results import QuestionRow
from analyzer.faces.web.app import create_app
from tests.support import invented
from tests.support.invented_answers import CHECK, RANGE

SHUNT = QuestionRow("Is the shunt the right way round?", True, "wrong: voltage rises with it.")


def page(browse, age_s):
    class Aged(invented.InventedLog):
        def check(self, there=()):
            return dataclasses.replace(CHECK, questions=(*CHECK.questions, SHUNT))

    log = Aged(dataclasses.replace(RANGE, data_age_s=age_s))
    answer = browse(create_app(log)).get("/set-up/first-test")
    assert answer.status_code == 200
    return answer.text


def test_what_comes_now_is_shown_with_what_is_wired_wrong(browse):
    told = page(browse, 2.0)  # the channel's own 0.4 s come on top
    assert "1 channel arrives" in told.replace("\u00a0", " ")
    assert "52.31\u00a0V" in told
    assert "<b>Wrong</b>" in told
    assert "Not recording yet" not in told


@pytest.mark.parametrize("age_s", [7200.0, None])
def test_an_old_log_is_not_taken_for_a_recorder_that_runs(browse, age_s):
    told = page(browse, age_s)
    assert "Not recording yet" in told
    assert "52.31" not in told

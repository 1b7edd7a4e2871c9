"""Somebody has seen a flag: from the page's button into the log."""

import pytest

from analyzer.faces.api import create_app
from logger.store import Store
from logger.store.records import FlagRecord

FLAG = FlagRecord(
    number=None, key="motor/hot", level="act now", subject="motor", kind="motor_hot", title="Hot",
    evidence="125 °C.", cause="", caution="", first_action="", raised_us=0,
)  # fmt: skip


@pytest.fixture
def log(tmp_path, plain_boat):
    with Store.open(tmp_path / "log.sqlite", write=True) as store:
        store.add_flag(FLAG)
    return tmp_path / "log.sqlite"


def test_the_button_writes_it_into_the_log_and_leads_back(log, browse):
    answer = browse(create_app(log, log.parent / "boat.toml")).post("/flag/1/seen")
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/")
    with Store.open(log) as store:
        (flag,) = store.flags()
    assert flag.seen_us is not None
    assert flag.cleared_us is None


def test_a_flag_that_is_not_there_is_no_fault(log, browse):
    answer = browse(create_app(log, log.parent / "boat.toml")).post("/flag/7/seen")
    assert 400 <= answer.status_code < 500
    assert "no flag 7" in answer.text

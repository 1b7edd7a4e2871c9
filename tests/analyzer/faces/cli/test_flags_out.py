"""Flags on the command line, as a stream and marked as seen by the page, from a real log."""

import asyncio
import dataclasses
import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analyzer.answers import Log
from analyzer.answers.flags import Changes
from analyzer.faces.cli import flags as command
from analyzer.faces.cli.main import main
from analyzer.faces.web import live
from analyzer.faces.web.app import create_app
from logger.store import Store
from logger.store.records import FlagRecord
from tests.support.invented_answers import flag as invented_flag

FLAG = FlagRecord(
    number=None, key="motor/hot", level="warning", subject="motor", kind="motor_hot",
    title="The motor is close to its limit", evidence="Motor at 113 °C.", cause="Long high power.",
    caution="Hot parts burn.", first_action="Ease the power.", raised_us=1_700_000_000_000_000,
)  # fmt: skip


@pytest.fixture
def places(tmp_path, plain_boat):
    log = tmp_path / "log.sqlite"
    with Store.open(log, write=True) as store:
        store.add_flag(FLAG)
    return ["--log", str(log), "--boat", str(plain_boat)]


def test_flags_are_told_with_what_to_do_and_marked_as_seen(places, capsys):
    assert main(["flags", *places]) == 0
    said = capsys.readouterr().out
    for text in (
        "Flag 1\n",
        "Warning: The motor is close to its limit",
        "Motor at 113 °C",
        "Ease the power",
    ):
        assert text in said
    assert main(["flags", "--seen", "1", "--json", *places]) == 0
    (flag,) = json.loads(capsys.readouterr().out)
    assert flag["seen_utc_s"] is not None
    assert main(["flags", "--seen", "9", *places]) == 2
    assert "no flag 9" in capsys.readouterr().err


def test_the_page_s_button_writes_it_into_the_log_and_leads_back(places, browse):
    log, boat = Path(places[1]), Path(places[3])
    answer = browse(create_app(Log(log, boat))).post("/flag/1/seen")
    assert answer.status_code == 303
    assert answer.headers["location"].startswith("/")
    with Store.open(log) as store:
        (flag,) = store.flags()
    assert flag.seen_us is not None
    assert flag.cleared_us is None


def test_a_flag_that_is_not_there_is_no_fault_of_the_page(places, browse):
    answer = browse(create_app(Log(Path(places[1]), Path(places[3])))).post("/flag/7/seen")
    assert 400 <= answer.status_code < 500
    assert "no flag 7" in answer.text


def test_follow_says_what_happens_as_it_happens(places):
    command = [
        sys.executable,
        "-m",
        "analyzer.faces.cli.main",
        "flags",
        "--follow",
        "--json",
        *places,
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as following:
        try:
            first = json.loads(following.stdout.readline())
            with Store.open(places[1], write=True) as store:
                store.update_flag(1, level="act now")
            second = json.loads(following.stdout.readline())
            with Store.open(places[1], write=True) as store:
                store.update_flag(1, cleared_us=FLAG.raised_us + 60_000_000)
            third = json.loads(following.stdout.readline())
        finally:
            following.terminate()
    assert [x["action"] for x in (first, second, third)] == ["raised", "worse", "cleared"]
    assert second["flag"]["level"] == "act now"


def test_the_stream_sends_each_change_once(invented, monkeypatch):
    monkeypatch.setattr(live, "BEAT_S", 0.01)
    one = invented.flag(1, "warning")
    asked = iter([[], [one], [one], [dataclasses.replace(one, seen_utc_s=5.0)],
                  [dataclasses.replace(one, seen_utc_s=5.0, cleared_utc_s=9.0)]])  # fmt: skip

    async def read():
        got = []
        async for event in live.flag_events(lambda: next(asked)):
            got.append(event.decode())
            if len(got) == 3:
                return got

    got = asyncio.run(read())
    assert [e.split("\n")[0] for e in got] == ["event: raised", "event: seen", "event: cleared"]
    assert json.loads(got[0].split("data: ")[1])["flag"]["number"] == 1


def test_a_quiet_stream_shows_that_it_lives(monkeypatch):
    monkeypatch.setattr(live, "BEAT_S", 0.01)
    monkeypatch.setattr(live, "QUIET_S", 0.05)

    async def read():
        async for event in live.flag_events(list):
            return event

    start = time.monotonic()
    assert asyncio.run(read()).startswith(b":")
    assert time.monotonic() - start < 5


def test_what_is_over_is_no_news_and_worse_is(invented):
    changes = Changes()
    over = invented.flag(1, cleared_utc_s=5.0)
    assert changes.of([over]) == []
    up = invented.flag(2, "warning")
    assert [one.action for one in changes.of([over, up])] == ["raised"]
    assert changes.of([over, up]) == []
    worse = dataclasses.replace(up, level="act now")
    assert [one.action for one in changes.of([over, worse])] == ["worse"]


def test_of_a_season_s_flags_the_newest_are_told_in_full():
    # by hand: one that stands, and forty that are over, a day apart
    over = [
        invented_flag(number, raised_utc_s=number * 86_400.0, cleared_utc_s=number * 86_400.0 + 600)
        for number in range(40, 0, -1)
    ]
    lines = command._text([invented_flag(41), *over]).splitlines()
    assert sum(line.startswith("  First: ") for line in lines) == 1 + command.MOST_OVER
    assert all(any(line.startswith(f"Flag {k}") for line in lines) for k in range(1, 42))
    assert "Older, in full with --json" in lines

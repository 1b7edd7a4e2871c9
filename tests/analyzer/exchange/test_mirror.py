"""A log carried into a database: each reading once, however often it is run."""

from contextlib import closing

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa

from analyzer.exchange.mirror import Mirror, mirrored
from logger.reading import EXACT, Block, Group, UtcFix
from logger.store import Store
from tests.support import mariadb as mariadb_server
from tests.support.postgresql import engine, server

START_US = 1_782_887_400_000_000  # 2026-07-01 06:30 UTC
PACK = Group("t/pack", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))


@pytest.fixture(scope="module")
def postgresql():
    """A server of our own: its version, its URL."""
    with server() as found:
        yield found


@pytest.fixture(scope="module")
def mariadb():
    """The same of another kind."""
    with mariadb_server.server() as found:
        yield found


@pytest.fixture
def log(tmp_path):
    """Gives a log that holds so many seconds of two channels; more come to the same boot."""
    path = tmp_path / "log.sqlite"
    writer_of = Store.open(path, write=True)

    def grown(seconds):
        with Store.open(path) as store:
            span = store.span()
        held = 0 if span is None else round((span[1] - span[0]) / 1e6) + 1
        t_us = np.arange(held, seconds, dtype=np.int64) * 1_000_000
        values = np.column_stack(
            [50.0 + t_us / 8e6, np.where(t_us % 3_000_000, t_us / 1e6, np.nan)]
        )
        writer.add(Block(PACK, t_us, values))
        writer.flush()
        return path

    with closing(writer_of), writer_of.writer("boot") as writer:
        writer.add(UtcFix(0, START_US, "file", 1.0))
        yield grown


def table(url, name="readings", order="channel, log_us"):
    with engine(url).connect() as connection:
        return pd.read_sql(sa.text(f"SELECT * FROM keelwatt_{name} ORDER BY {order}"), connection)


def carry(url, log, *asked):
    with Store.open(log) as store, closing(mirrored(url, store)) as into:
        return into.carry(store, *asked)


def test_readings_are_those_of_the_log_by_hand(tmp_path, log):
    url = f"sqlite:///{tmp_path}/db"
    # sixty of one channel, and of the other the forty whose second is no multiple of three
    assert carry(url, log(60)) == 60 + 40
    found = table(url)
    volts = found[found.channel == "pack_voltage_v"]
    assert volts.value.tolist() == [50.0 + k / 8 for k in range(60)]
    assert volts.utc.iloc[0] == "2026-07-01 06:30:00.000000"
    assert table(url, "channels", "channel").unit.tolist() == ["A", "V"]
    assert table(url, "latest", "channel").value.tolist() == [59, 50 + 59 / 8]


@pytest.mark.parametrize("step_s", [None, 7.0])
def test_carried_on_again_and_again_it_is_as_at_once(tmp_path, log, step_s):
    piecewise, at_once = f"sqlite:///{tmp_path}/a", f"sqlite:///{tmp_path}/b"
    counts = [carry(piecewise, log(seconds), (), step_s) for seconds in (20, 20, 33, 90)]
    assert counts[1] == 0
    carry(at_once, log(90), (), step_s)
    pd.testing.assert_frame_equal(table(piecewise), table(at_once))


def test_two_boats_share_a_database(tmp_path, log):
    url = f"sqlite:///{tmp_path}/db"
    for boat in ("one", "two"):
        with Store.open(log(10)) as store, closing(Mirror(url, boat)) as into:
            into.carry(store)
    assert table(url, order="boat").groupby("boat").size().to_dict() == {"one": 16, "two": 16}


@pytest.fixture(params=["postgresql", "mariadb", "duckdb"])
def other(request, tmp_path):
    """The URL of an empty database of each other kind."""
    if request.param == "duckdb":
        pytest.importorskip("duckdb_engine", reason="duckdb-engine is not installed (test extra)")
        yield f"duckdb:///{tmp_path}/db.duckdb"
        return
    _, url = request.getfixturevalue(request.param)
    yield url
    with engine(url).begin() as connection:
        connection.execute(sa.text("DROP VIEW keelwatt_latest"))
        for name in ("channels", "readings", "trips", "flags"):
            connection.execute(sa.text(f"DROP TABLE keelwatt_{name}"))


def test_every_other_database_has_the_rows_of_sqlite(tmp_path, log, other):
    own = f"sqlite:///{tmp_path}/db"
    carry(other, log(40))
    carry(other, log(60))
    carry(own, log(60))
    there, here = table(other), table(own)
    assert there.utc.tolist() == pd.to_datetime(here.utc).tolist()
    columns = ["boat", "channel", "log_us", "value"]
    pd.testing.assert_frame_equal(there[columns], here[columns], check_dtype=False)
    latest = table(other, "latest", "channel")
    assert latest.value.tolist() == table(own, "latest", "channel").value.tolist()


def test_every_other_database_keeps_any_letter_and_case(tmp_path, log, other):
    flag = {
        "number": 1,
        "level": "notice",
        "title": "0.5 mΩ more – naïve",
        "evidence": "",
    }
    for boat in ("Sea", "sea"):
        with Store.open(log(3)) as store, closing(Mirror(other, boat)) as into:
            into.carry(store)
            into.put("flags", [flag | dict.fromkeys(("first_action", "raised_utc", "cleared_utc"))])
    found = table(other, "flags", "boat")
    assert sorted(found.boat) == ["Sea", "sea"]
    assert found.title.tolist() == [flag["title"]] * 2

"""Results in a shared database, and work by a Dask cluster: both started here, on this machine."""

import contextlib
import os
import signal
import socket
import subprocess
import sys

import pandas as pd
import psutil
import pytest
import sqlalchemy as sa

from analyzer.faces.cli.main import main
from analyzer.fleet import keep, logs, pool, run, tables
from tests.support.postgresql import engine, server
from tests.support.stand_ins import Here


@pytest.fixture(scope="module")
def looked(club, tmp_path_factory):
    """The first boats of the club, looked at in this process, in Parquet."""
    out = tmp_path_factory.mktemp("looked")
    found = logs.find(f"{club}/000[012].sqlite") + logs.find(f"{club}/bad.sqlite")
    fleet = run.run(found, out, Here(), lambda _: None)
    run.write(fleet)
    return fleet


# -- PostgreSQL ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def postgresql():
    """A server of our own: its version, its URL."""
    with server() as found:
        yield found


def _sorted(frame, name):
    columns = list(tables.TABLES[name])
    return frame[columns].sort_values(columns).reset_index(drop=True)


def test_postgresql_has_the_same_rows_as_parquet(looked, postgresql):
    version, url = postgresql
    database = keep.Database(url)
    for _ in range(2):  # the second time replaces
        run.write(looked, database)
    database.close()
    for name in tables.TABLES:
        parquet = pd.read_parquet(looked.out / f"{name}.parquet")
        with engine(url).connect() as connection:
            rows = pd.read_sql(sa.text(f"SELECT * FROM fleet_{name}"), connection)
        assert len(rows) == len(parquet)
        # A column that is empty everywhere has no kind of its own in a data frame.
        kinds = {c: parquet[c].dtype for c in parquet}
        pd.testing.assert_frame_equal(
            _sorted(rows.astype(kinds), name), _sorted(parquet, name), check_exact=True
        )
        print(f"\nPostgreSQL {version}, fleet_{name}: {len(rows)} rows, those of Parquet")


def test_postgresql_keeps_units_as_comments(looked, postgresql):
    _, url = postgresql
    database = keep.Database(url)
    database.close()
    columns = {c["name"]: c for c in sa.inspect(engine(url)).get_columns("fleet_boats")}
    assert columns["energy_out_wh"]["comment"] == "out of the pack, all trips [Wh]"


def test_a_database_that_fails_half_way_keeps_what_it_had(looked, postgresql):
    _, url = postgresql
    database = keep.Database(url)
    run.write(looked, database)

    def rows():
        yield from list(looked.rows(looked.likeness()))[:3]
        raise RuntimeError("the power went")

    with pytest.raises(RuntimeError):
        database.write(list(looked.keys), rows())
    database.close()
    with engine(url).connect() as connection:
        count = connection.execute(sa.text("SELECT count(*) FROM fleet_boats")).scalar_one()
    assert count == len(looked.keys)


# -- Dask ---------------------------------------------------------------------------------------


def _free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """A scheduler and two workers as processes of this machine: the address, the workers."""
    pytest.importorskip("distributed")
    folder = tmp_path_factory.mktemp("dask")
    address = f"tcp://127.0.0.1:{_free_port()}"
    port = address.rpartition(":")[2]
    dask = [sys.executable, "-m", "dask"]
    with (folder / "said.txt").open("wb") as said:
        how = {"stdout": said, "stderr": said, "cwd": folder}
        where = {"env": {**os.environ, "PYTHONPATH": os.getcwd()}}
        started = [
            subprocess.Popen(
                [*dask, "scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard"], **how
            )
        ]
        started += [
            subprocess.Popen(
                [*dask, "worker", address, "--nthreads", "1", "--host", "127.0.0.1",
                 "--no-dashboard", "--local-directory", str(folder)],
                **how, **where,
            )
            for _ in range(2)
        ]  # fmt: skip
        try:
            yield address, started[1:]
        finally:
            for one in reversed(started):
                one.terminate()
            for one in started:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    one.wait(20)
                one.kill()


@pytest.mark.filterwarnings("ignore")  # Dask's own
def test_dask_does_the_same_and_a_killed_worker_changes_nothing(
    looked, club, scheduler, tmp_path, monkeypatch
):
    address, workers = scheduler
    monkeypatch.setattr(pool, "CONNECT_S", 60.0)
    dask = pool.Dask(address)
    killed = []

    def kill(tally):
        if tally.looked == 1 and not killed:
            killed.extend(psutil.Process(workers[0].pid).children())
            for worker in killed:
                worker.send_signal(signal.SIGKILL)

    found = [logs.LogRef(name) for name in [*looked.keys, *looked.tally.skipped]]
    fleet = run.run(found, tmp_path, dask, kill)
    dask.close()
    run.write(fleet)
    assert killed
    for name in tables.TABLES:
        pd.testing.assert_frame_equal(
            pd.read_parquet(tmp_path / f"{name}.parquet"),
            pd.read_parquet(looked.out / f"{name}.parquet"),
        )


@pytest.mark.filterwarnings("ignore")  # Dask's own
def test_the_command_takes_a_scheduler(looked, scheduler, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(pool, "CONNECT_S", 60.0)
    log = next(iter(looked.keys))
    assert main(["fleet", log, "--out", str(tmp_path), "--scheduler", scheduler[0]]) == 0
    assert "1 looked at" in capsys.readouterr().out

import sqlite3

import pytest

from logger.errors import StoreError
from logger.store import Store
from logger.store.connect import connect
from logger.store.schema import MIGRATIONS, applied, migrate


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "boat.log"
    Store.open(path, write=True).close()
    return path


def contents(path):
    with sqlite3.connect(path) as db:
        rows = db.execute("SELECT type, name, sql FROM sqlite_master ORDER BY name").fetchall()
    db.close()
    return rows


def test_a_new_log_has_every_migration_on_record(log):
    db = connect(log, write=False)
    assert applied(db) == [step.__name__ for step in MIGRATIONS]
    db.close()


def test_opening_again_changes_nothing(log):
    before = contents(log)
    Store.open(log, write=True).close()
    assert contents(log) == before


def test_a_failing_migration_leaves_no_trace(log):
    before = contents(log)

    def m999_breaks_half_way(db):
        db.execute("CREATE TABLE half (x)")
        db.execute("UPDATE chunk SET count = 'no such column' WHERE nothing = 1")

    db = sqlite3.connect(log, isolation_level=None)
    with pytest.raises(StoreError, match="m999_breaks_half_way"):
        migrate(db, log, (*MIGRATIONS, m999_breaks_half_way))
    assert not db.in_transaction
    db.close()
    assert contents(log) == before


def test_a_failing_first_migration_leaves_an_empty_file(tmp_path):
    path = tmp_path / "boat.log"
    db = sqlite3.connect(path, isolation_level=None)

    def m001_breaks(db):
        db.execute("CREATE TABLE half (x)")
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        migrate(db, path, (m001_breaks,))
    assert db.execute("SELECT * FROM sqlite_master").fetchall() == []
    db.close()


def test_a_later_migration_is_applied_once_and_keeps_the_data(log):
    with Store.open(log, write=True) as store:
        store.save_boat("name = 'x'", 1)

    def m002_adds_a_column(db):
        db.execute("ALTER TABLE boatfile ADD COLUMN remark TEXT")

    db = sqlite3.connect(log, isolation_level=None)
    steps = (*MIGRATIONS, m002_adds_a_column)
    migrate(db, log, steps)
    migrate(db, log, steps)
    assert db.execute("SELECT toml_text, remark FROM boatfile").fetchall() == [("name = 'x'", None)]
    db.close()


@pytest.mark.parametrize("write", [False, True])
def test_a_newer_log_is_refused_and_left_alone(log, write):
    with sqlite3.connect(log) as db:
        db.execute("INSERT INTO migration (name) VALUES ('m900_from_the_future')")
    db.close()
    before = contents(log)
    with pytest.raises(StoreError, match=r"newer version of keelwatt.*m900_from_the_future"):
        Store.open(log, write=write)
    assert contents(log) == before


@pytest.mark.parametrize("write", [False, True])
def test_another_programs_database_is_refused_and_left_alone(tmp_path, write):
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE theirs (x)")
    db.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="no log of this program"):
        Store.open(path, write=write)
    assert path.read_bytes() == before


@pytest.mark.parametrize("write", [False, True])
def test_a_file_that_is_no_database_is_refused(tmp_path, write):
    path = tmp_path / "letter.txt"
    path.write_text("Dear skipper, " * 500)
    with pytest.raises(StoreError, match=r"letter\.txt cannot be used as a log"):
        Store.open(path, write=write)


def test_reading_where_there_is_no_log_says_so_and_makes_none(tmp_path):
    path = tmp_path / "none.log"
    with pytest.raises(StoreError, match="there is no log at"):
        Store.open(path)
    assert not path.exists()


@pytest.mark.parametrize("known", range(1, len(MIGRATIONS)))
@pytest.mark.parametrize("write", [False, True])
def test_a_log_of_every_earlier_version_is_brought_up_to_date(tmp_path, known, write):
    path = tmp_path / "old.log"
    db = sqlite3.connect(path, isolation_level=None)
    migrate(db, path, MIGRATIONS[:known])
    db.execute(
        "INSERT INTO boot (uid, utc_offset_us, utc_source, first_us, last_us)"
        " VALUES ('old', 1000, 'file', 5, 9)"
    )
    db.execute("INSERT INTO boatfile (utc_us, toml_text) VALUES (1, 'name = 1')")
    if known < 3:  # a row of the tail as the first schema had it: one row, codes, time, value
        db.execute("INSERT INTO channel VALUES (1, 'pack_voltage_v', 'V')")
        db.execute("INSERT INTO channel_group VALUES (1, 'can/1', 1000)")
        db.execute("INSERT INTO group_channel VALUES (1, 0, 1, 1.0, 0.0)")
        db.execute("INSERT INTO tick VALUES (1, 1, 1, 7, 7, ?)", [b"\x01\0\0\0bb\0\x2a"])
    db.close()
    with Store.open(path, write=write) as store:
        if known < 3:
            t_us, values = store.read("pack_voltage_v", -(2**62), 2**62)
            assert (t_us.tolist(), values.tolist()) == ([1007], [42.0])
        assert store.boat_text() == "name = 1"
        (boot,) = store.boots()
        assert (boot.uid, boot.utc_offset_us, boot.first_us, boot.last_us) == ("old", 1000, 5, 9)
        assert boot.recorded == (known < 2)
        assert applied(store._db) == [step.__name__ for step in MIGRATIONS]

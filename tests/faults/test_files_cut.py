"""Exports and imports that are killed: nothing half done bears a name, nothing is left for good,
and the same again works. And what others' files may hold that is no reading."""

import csv
import io
import itertools
import multiprocessing
import os
import resource
import signal
from contextlib import closing

import pytest
import zstandard

from analyzer.errors import BadImport
from analyzer.exchange import csv_table, forms, packed_log, rows
from analyzer.faces.cli.base import playback
from analyzer.faces.cli.main import main
from logger.errors import StoreError
from logger.reading import EXACT, Group, Row, UtcFix
from logger.store import Store, backup
from tests.support.small_boat import BOAT_TEXT

S = 1_000_000
ALL = -(2**62), 2**62
START_US = 1_782_887_400 * S
GROUP = Group("test/1", ("pack_voltage_v", "pack_current_a"), (EXACT, EXACT))
fork = multiprocessing.get_context("fork")


@pytest.fixture
def log(tmp_path):
    path = tmp_path / "boat.sqlite"
    with Store.open(path, write=True) as store:
        store.save_boat(BOAT_TEXT, 1)
        with store.writer("boot-a") as writer:
            writer.add(UtcFix(0, START_US, "gnss", 1.0))
            for k in range(200):
                writer.add(Row(GROUP, k * S, [50.0, float(k)]))
    return path


def killed(where, name, arguments, after=False):
    """Runs a command in a process that is killed when it comes to a function."""

    def run():
        real = getattr(where, name)

        def die(*given, **named):
            if after:
                real(*given, **named)
            os.kill(os.getpid(), signal.SIGKILL)

        setattr(where, name, die)
        main(arguments)

    process = fork.Process(target=run)
    process.start()
    process.join()
    assert process.exitcode == -signal.SIGKILL


def left(folder):
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


IMPORT_STAGES = [
    (forms, "_fill", False),
    (forms, "_fill", True),
    (playback, "look_through", False),
    (playback, "look_through", True),
    (backup, "copy_into", True),
]


@pytest.mark.parametrize(("where", "name", "after"), IMPORT_STAGES)
@pytest.mark.parametrize("form", ["csv", "sqlite.zst"])
def test_a_killed_import_can_be_done_again(tmp_path, log, form, where, name, after):
    file, new = tmp_path / f"x.{form}", tmp_path / "new" / "made.sqlite"
    boat = tmp_path / "boat.toml"
    boat.write_text(BOAT_TEXT)
    arguments = ["import", str(file), "--log", str(new), "--boat", str(boat)]
    assert main(["export", "--log", str(log), "--out", str(file)]) == 0
    new.parent.mkdir()
    killed(where, name, arguments, after)
    assert not new.exists()
    assert main(arguments) == 0
    assert left(new.parent) == []
    with Store.open(new) as store:
        assert store.read("pack_current_a", *ALL)[1].tolist() == list(range(200))
    assert main(arguments) == 2  # done is done


@pytest.mark.parametrize("form", ["csv", "sqlite", "sqlite.zst"])
def test_a_killed_export_leaves_nothing_for_good(tmp_path, log, form):
    out = tmp_path / "out" / f"x.{form}"
    out.parent.mkdir()
    arguments = ["export", "--log", str(log), "--out", str(out)]
    where = (csv_table, "rows") if form == "csv" else (backup, "mark_whole")
    if form == "sqlite.zst":
        where = (packed_log.zstandard, "ZstdCompressor")
    killed(*where, arguments)
    assert not out.exists()
    assert len(left(out.parent)) == 1
    other = out.with_name("other.csv")  # whatever is written there next
    assert main(["export", "--log", str(log), "--out", str(other)]) == 0
    assert left(out.parent) == []
    assert main(arguments) == 0


def test_what_is_being_written_is_left_alone(tmp_path):
    with backup.whole_file(tmp_path / "a.csv") as part:
        part.write_text("half")
        process = fork.Process(target=backup.sweep, args=(tmp_path,))
        process.start()
        process.join()
        assert part.read_text() == "half"
        with pytest.raises(StoreError, match="just now"), backup.whole_file(tmp_path / "a.csv"):
            pass
        assert part.read_text() == "half"
    assert (tmp_path / "a.csv").read_text() == "half"
    assert left(tmp_path) == []


@pytest.mark.parametrize("uid", ["=cmd|' /C calc'!A0", "+1+1", "-2", "@SUM(A1)", "\tx", "'=quoted"])
def test_no_cell_of_a_table_is_a_formula_and_names_come_back(tmp_path, uid):
    path, table, again = (tmp_path / name for name in ("a.sqlite", "a.csv", "b.sqlite"))
    with Store.open(path, write=True) as store:
        with store.writer(uid) as writer:
            writer.add(Row(GROUP, 0, [50.0, -3.0]))
        out = io.BytesIO()
        csv_table.write(store, rows.choose(store, None, (), None), out)
    table.write_bytes(out.getvalue())
    for line in csv.reader(io.StringIO(out.getvalue().decode(), newline="")):
        for cell in line:
            number = cell.lstrip("-").replace(".", "", 1).isdigit()
            assert number or not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    forms.read(table, again)
    with Store.open(again) as store:
        assert [boot.uid for boot in store.boots()] == [uid]


def test_a_column_named_like_a_formula_is_no_formula_in_the_head():
    assert csv_table.as_text("=HYPERLINK(1)") == "'=HYPERLINK(1)"
    assert csv_table.as_text("pack_voltage_v") == "pack_voltage_v"


GPX = (
    '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1"><trk>'
    "<trkseg>{points}</trkseg></trk></gpx>"
)
POINT = '<trkpt lat="{lat}" lon="{lon}"><time>2026-07-01T10:00:{s:02d}Z</time></trkpt>'
NOWHERE = [
    ("nan", "1"),
    ("95", "1"),
    ("-90.001", "1"),
    ("1", "inf"),
    ("1", "180.5"),
    ("1e400", "1"),
]


@pytest.mark.parametrize("place", NOWHERE)
def test_a_point_that_is_nowhere_is_left_out_whole_and_said(tmp_path, place, caplog):
    path, log = tmp_path / "a.gpx", tmp_path / "a.sqlite"
    points = [("46.0", "-23"), place, ("46.1", "-23")]
    text = "".join(POINT.format(lat=a, lon=b, s=k) for k, (a, b) in enumerate(points))
    path.write_text(GPX.format(points=text))
    forms.read(path, log)
    with Store.open(log) as store:
        assert store.read("latitude_deg", *ALL)[1].tolist() == [46.0, 46.1]
        assert store.read("longitude_deg", *ALL)[1].tolist() == [-23.0, -23.0]
    assert "1 points have no place on earth" in caplog.text


@pytest.mark.parametrize("time", ["9999-12-31T23:59:59Z", "0001-01-01T00:00:00Z", "yesterday"])
def test_a_time_that_is_none_is_a_sentence(tmp_path, time):
    path = tmp_path / "a.gpx"
    path.write_text(GPX.format(points=f'<trkpt lat="1" lon="1"><time>{time}</time></trkpt>'))
    with pytest.raises(BadImport, match=r"a\.gpx cannot be read as GPX"):
        forms.read(path, tmp_path / "a.sqlite")
    assert not (tmp_path / "a.sqlite").exists()


def test_a_point_without_a_latitude_is_a_sentence(tmp_path):
    path = tmp_path / "a.gpx"
    path.write_text(GPX.format(points='<trkpt lon="1"><time>2026-07-01T10:00:00Z</time></trkpt>'))
    with pytest.raises(BadImport, match="no lat or no lon"):
        forms.read(path, tmp_path / "a.sqlite")


@pytest.mark.parametrize(("name", "says"), [("a.csv", "a line of more"), ("a.gpx", "larger than")])
def test_a_line_or_a_track_without_end_is_refused_at_once(tmp_path, name, says):
    path = tmp_path / name
    with path.open("wb") as file:
        file.truncate(2 << 30)  # a hole: it takes no room on the disk
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    with pytest.raises(BadImport, match=says):
        forms.read(path, tmp_path / "a.sqlite")
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < before + 100_000


def test_entities_that_grow_without_end_are_a_sentence(tmp_path):
    names = "abcdefghijkl"
    grown = "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in itertools.pairwise(names))
    path = tmp_path / "a.gpx"
    path.write_text(f'<!DOCTYPE g [<!ENTITY a "aaaaaaaaaa">{grown}]><gpx><trk>&l;</trk></gpx>')
    with pytest.raises(BadImport, match="amplification"):
        forms.read(path, tmp_path / "a.sqlite")


@pytest.mark.parametrize("told", [True, False])
def test_a_packed_log_that_unpacks_without_end_is_refused_at_once(tmp_path, told):
    path, size = tmp_path / "a.sqlite.zst", 4 << 30
    packer = zstandard.ZstdCompressor(1).compressobj(size=size if told else -1)
    zeros = bytes(1 << 24)
    with path.open("wb") as file:
        for _ in range(size // len(zeros)):
            file.write(packer.compress(zeros))
        file.write(packer.flush())
    with pytest.raises(BadImport, match="300 times its size"):
        forms.read(path, tmp_path / "a.sqlite")


def test_a_copy_made_beside_an_open_log_takes_none_of_its_locks(tmp_path, log):
    # A file that a process opens twice loses the process's locks when one of them is closed.
    with Store.open(log, write=True) as store, closing(store.writer("boot-b")) as writer:
        store.back_up(tmp_path / "copy.sqlite")
        process = fork.Process(target=lambda: Store.open(log, write=True).close())
        process.start()
        process.join()
        writer.add(Row(GROUP, 0, [50.0, 1.0]))
        writer.flush()
        assert log.with_name("boat.sqlite-wal").stat().st_size > 0

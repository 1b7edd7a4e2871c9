"""Which logs there are, by folder, pattern and URL; and that none is ever written to."""

import fsspec
import pytest

from analyzer.errors import NoLog, NotInstalled
from analyzer.exchange import packed_log
from analyzer.fleet import look
from analyzer.fleet.logs import LogRef, digest, fetched, find
from logger.store import Store


@pytest.fixture
def folder(tmp_path):
    """Two logs, one packed log, and what is none."""
    (tmp_path / "deep").mkdir()
    for name in ("a.sqlite", "deep/b.sqlite"):
        with Store.open(tmp_path / name, write=True) as store:
            store.put_learned(name, {}, 0, 1)
    with Store.open(tmp_path / "a.sqlite") as store, (tmp_path / "c.sqlite.zst").open("wb") as out:
        packed_log.write(store, out)
    (tmp_path / "notes.txt").write_text("no log")
    for left in tmp_path.rglob("*.sqlite-*"):
        left.unlink()
    return tmp_path


def names(found):
    return [log.where.rpartition("/")[2] for log in found]


def test_a_folder_a_pattern_and_a_file(folder):
    assert names(find(str(folder))) == ["a.sqlite", "c.sqlite.zst", "b.sqlite"]
    assert names(find(f"{folder}/*/b*.sqlite")) == ["b.sqlite"]
    assert names(find(f"{folder}/**/*.sqlite")) == ["a.sqlite", "b.sqlite"]
    assert names(find(str(folder / "a.sqlite"))) == ["a.sqlite"]


def test_an_object_store_is_found_and_fetched(folder):
    store = fsspec.filesystem("memory")
    store.put(str(folder / "deep" / "b.sqlite"), "/charter/x/b.sqlite")
    store.put(str(folder / "c.sqlite.zst"), "/charter/c.sqlite.zst")
    found = find("memory://charter")
    assert names(found) == ["c.sqlite.zst", "b.sqlite"]
    assert names(find("memory://charter/*/*.sqlite")) == ["b.sqlite"]
    for log, key in zip(found, ("a.sqlite", "deep/b.sqlite"), strict=True):
        with fetched(log) as copy, Store.open(copy) as log_store:
            assert len(log_store.learned(key)) == 1
    before = digest(found[0])
    store.pipe("/charter/c.sqlite.zst", b"another")
    assert digest(found[0]) != before


@pytest.mark.parametrize("where", ["none/", "*.sqlite", "memory://none", "notes.txt"])
def test_where_no_log_is_it_is_said(folder, where, monkeypatch):
    monkeypatch.chdir(folder / "deep" if where == "*.sqlite" else folder)
    (folder / "deep" / "b.sqlite").unlink()
    with pytest.raises(NoLog, match="there is no log"):
        find(where)


def test_an_unknown_kind_of_url_is_said():
    with pytest.raises(NotInstalled, match="nowhere://x cannot be opened"):
        find("nowhere://x")


def test_without_fsspec_one_sentence_says_what_to_install(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "fsspec", None)
    with pytest.raises(NotInstalled, match=r"pip install 'keelwatt\[fleet\]'"):
        find("s3://x")


def test_a_log_is_copied_with_what_a_recorder_has_not_yet_put_into_it(folder):
    path = folder / "a.sqlite"
    with Store.open(path, write=True) as recorder:
        recorder.put_learned("late", {}, 0, 1)
        assert path.with_name("a.sqlite-wal").stat().st_size
        with fetched(LogRef(str(path))) as copy, Store.open(copy) as store:
            assert len(store.learned("late")) == 1


def test_the_digest_is_of_the_content_not_of_the_name(folder):
    (folder / "again.sqlite").write_bytes((folder / "a.sqlite").read_bytes())
    one, two, other = (
        digest(LogRef(str(folder / n))) for n in ("a.sqlite", "again.sqlite", "deep/b.sqlite")
    )
    assert one == two != other


def test_looking_changes_nothing_in_the_folder(folder):
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    look.work(LogRef(str(folder / "a.sqlite")))
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before

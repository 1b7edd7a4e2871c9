from dataclasses import replace

import pytest

from logger.errors import StoreError
from logger.store import Learned, Store, TripRecord
from tests.support.flag_records import flag_record

FLAG = flag_record(
    key="cell/3",
    level="warning",
    subject="cell 3",
    kind="cells",
    title="Cell 3 sags",
    evidence="0.1 V below",
    cause="a loose link",
    caution="Isolate first.",
    first_action="Tighten it.",
    raised_us=100,
    channels=("cell_03_voltage_v",),
)


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "boat.log", write=True) as opened:
        yield opened


def test_a_flag_reads_back_and_lives(store):
    number = store.add_flag(FLAG)
    assert store.flags() == [replace(FLAG, number=number)]
    store.update_flag(number, seen_us=150, cleared_us=200, level="act now", channels=("x", "y"))
    assert store.flags() == [
        replace(
            FLAG, number=number, seen_us=150, cleared_us=200, level="act now", channels=("x", "y")
        )
    ]


def test_flags_of_a_stretch_are_those_whose_life_touches_it(store):
    early = store.add_flag(replace(FLAG, raised_us=100, cleared_us=200))
    late = store.add_flag(replace(FLAG, raised_us=300))
    assert [f.number for f in store.flags(0, 150)] == [early]
    assert [f.number for f in store.flags(150, 250)] == [early]
    assert [f.number for f in store.flags(250, 300)] == []
    assert [f.number for f in store.flags(250, 301)] == [late]
    assert [f.number for f in store.flags(900, 1000)] == [late]


def test_changing_what_is_not_there_is_an_error(store):
    with pytest.raises(StoreError, match="no flag 7"):
        store.update_flag(7, seen_us=1)
    with pytest.raises(StoreError, match="a flag has no colour"):
        store.update_flag(store.add_flag(FLAG), colour="red")


def test_learned_results_are_kept_by_key_and_start(store):
    store.put_learned("capacity", {"ah": 100.5}, 200, 300)
    store.put_learned("capacity", {"ah": 101.0}, 0, 100)
    store.put_learned("hull", {"n": [1, 2]}, 0, 100)
    store.put_learned("capacity", {"ah": 99.0}, 200, 350)
    assert store.learned("capacity") == [
        Learned(0, 100, {"ah": 101.0}),
        Learned(200, 350, {"ah": 99.0}),
    ]
    assert store.learned("nothing") == []


def test_a_result_that_is_no_number_is_refused(store):
    with pytest.raises(ValueError, match="JSON"):
        store.put_learned("capacity", {"ah": float("nan")}, 0, 1)


def test_trips_are_replaced_as_a_whole(store):
    store.put_trips([TripRecord(1, 0, 10, {}), TripRecord(2, 20, 30, {"nmi": 3.5})])
    store.put_trips([TripRecord(1, 0, 10, {"a": None}), TripRecord(5, 40, 50, {})])
    assert store.trips() == [TripRecord(1, 0, 10, {"a": None}), TripRecord(5, 40, 50, {})]


def test_trips_survive_a_refused_replacement(store):
    store.put_trips([TripRecord(1, 0, 10, {})])
    with pytest.raises(ValueError, match="JSON"):
        store.put_trips([TripRecord(1, 0, 10, {"wh": float("inf")})])
    assert store.trips() == [TripRecord(1, 0, 10, {})]


def test_the_newest_boat_file_is_read_and_every_version_kept(store):
    store.save_boat("name = 'a'", 1)
    store.save_boat("name = 'b'", 2)
    store.save_boat("name = 'b'", 3)
    assert store.boat_text() == "name = 'b'"
    assert store._db.execute("SELECT count(*) FROM boatfile").fetchone() == (2,)


def test_health_is_the_newest_word_of_each_part(store):
    store.put_health("can0", {"frames": 1})
    store.put_health("can0", {"frames": 2}, 77)
    assert store.health()["can0"].value == {"frames": 2}
    assert store.health()["can0"].utc_us == 77

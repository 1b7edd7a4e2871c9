"""The Python interface as a person types it: the examples in docstrings, README and the script."""

import doctest
import importlib.util
import re
import sys

import numpy as np
import pytest

import logger.store
from analyzer import answers
from analyzer.errors import NoChannel, NoTrip
from analyzer.examples import demo_trip
from analyzer.exchange import data_frame as frames

# Modules with examples in their docstrings, and how many lines of them at least.
EXAMPLES = {
    "analyzer.answers": 5,
    "analyzer.exchange.data_frame": 5,
    "keelwatt": 3,
    "logger.store": 5,
}


@pytest.fixture(scope="module")
def demo(demo_log):
    """The demo's log, under the name that the examples know."""
    return demo_log.rename(demo_log.with_name("demo.sqlite"))


@pytest.fixture
def there(demo, monkeypatch):
    """The folder of the demo's log is where one is."""
    monkeypatch.chdir(demo.parent)


@pytest.mark.usefixtures("there", "own_package")
@pytest.mark.parametrize(("name", "fewest"), EXAMPLES.items())
def test_examples_in_docstrings_hold(name, fewest):
    module = importlib.import_module(name)
    found = doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert found.attempted >= fewest
    assert found.failed == 0


def test_no_example_is_left_out(repository):
    found = {
        ".".join(path.relative_to(repository).with_suffix("").parts).removesuffix(".__init__")
        for part in ("analyzer", "logger", "replay")
        for path in (repository / part).rglob("*.py")
        if "\n>>> " in path.read_text()
    }
    assert {name.replace("analyzer.faces.python", "keelwatt") for name in found} == set(EXAMPLES)


@pytest.fixture
def own_package(repository, monkeypatch):
    """`import keelwatt` finds this tree's package, whatever is installed."""
    folder = repository / "analyzer/faces/python"
    where = {"submodule_search_locations": [str(folder)]}
    spec = importlib.util.spec_from_file_location("keelwatt", folder / "__init__.py", **where)
    for name in [name for name in sys.modules if name.partition(".")[0] == "keelwatt"]:
        monkeypatch.delitem(sys.modules, name)
    module = importlib.util.module_from_spec(spec)
    monkeypatch.setitem(sys.modules, "keelwatt", module)
    spec.loader.exec_module(module)


@pytest.mark.usefixtures("there", "own_package")
def test_examples_in_the_readme_run(repository):
    blocks = re.findall(r"```python\n(.*?)```", (repository / "README.md").read_text(), re.S)
    assert blocks
    for block in blocks:
        names = {}
        exec(block, names)
        assert len(names["frame"]) > 9000
        names["log"].close()


def test_the_walk_draws_a_picture(demo, tmp_path):
    demo_trip.main(str(demo), str(tmp_path / "walk.png"))
    assert (tmp_path / "walk.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_frame_holds_what_the_store_holds(demo):
    with answers.open_log(demo) as log:
        frame = log.frame("pack_voltage_v", step_s=None)
        t_us, values = log.store.read("pack_voltage_v", *log.store.span())
    assert frame["pack_voltage_v"].tolist()[: len(values)] == values.tolist()
    assert (frame.index.as_unit("us").asi8[: len(t_us)] == t_us).all()
    assert str(frame.index.tz) == "UTC"


def test_frame_of_a_trip_has_its_energy(demo):
    """Volts times amperes by pandas against the trip's own account, within a part in a thousand."""
    with answers.open_log(demo) as log:
        frame = log.frame("pack_voltage_v", "pack_current_a", trip=1)
        (trip,) = log.trips()
    power_w = frame["pack_voltage_v"] * frame["pack_current_a"]
    assert power_w.clip(lower=0).sum() / 3600 == pytest.approx(trip.energy_out_wh, rel=1e-3)


def test_table_has_an_estimates_range(demo):
    with answers.open_log(demo) as log:
        (trip,) = log.trips()
        (row,) = answers.table(log.trips()).to_dict("records")
    assert (row["charge_end_low"], row["charge_end"]) == (trip.charge_end.low, trip.charge_end.mid)
    assert np.isclose(row["energy_out_wh"], trip.energy_out_wh)


def test_what_is_not_there_is_said(demo):
    with answers.open_log(str(demo)) as log:
        with pytest.raises(NoChannel):
            log.frame("volts")
        with pytest.raises(NoTrip):
            log.frame(trip=9)


def test_every_public_name_is_explained_and_typed():
    for module in (answers, frames, logger.store):
        for name in getattr(module, "__all__", ("frame",)):
            thing = getattr(module, name)
            assert thing.__doc__ or not callable(thing), name
            if callable(thing) and not isinstance(thing, type):
                assert "return" in thing.__annotations__, name

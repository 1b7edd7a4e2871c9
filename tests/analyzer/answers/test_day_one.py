"""Day one: how far by the boat file alone, and after the first twenty minutes of motoring."""

import numpy as np
import pytest

from analyzer.environment import stream_fit
from analyzer.environment.stream import unknown
from analyzer.faces.cli.main import main
from analyzer.hull import hull
from analyzer.hull.steady import steady
from analyzer.pack.soc import known
from analyzer.range import inputs
from analyzer.range.reach import ReachResult, reach
from analyzer.series.series import Series
from tests.support.hull_boat import boat
from tests.support.small_boat import BOAT_TEXT

BOAT = boat()
SPEED = 2.2  # m/s
TRUE_W = 1.3 * float(hull.prior(BOAT).mean_w(np.array([SPEED]))[0])


def motoring(minutes: int) -> Series:
    """One course and shaft speed in still water, a GPS and the pack's shunt: nothing else."""
    rng = np.random.default_rng(5)
    n = 60 * minutes
    volts = 52.0 + 0.02 * rng.standard_normal(n)
    values = {
        "pack_voltage_v": volts,
        "pack_current_a": TRUE_W / volts * (1 + 0.03 * rng.standard_normal(n)),
        "speed_ground_mps": SPEED + 0.05 * rng.standard_normal(n),
        "course_ground_deg": 40.0 + rng.standard_normal(n),
    }
    return Series(0, 1.0, n, values)


def asked(log: Series | None, speeds_mps: np.ndarray) -> ReachResult:
    charge = known(BOAT.pack, 0.9, 0.02)
    prior = hull.prior(BOAT)
    if log is None:
        told = inputs.RangeInputs(BOAT, charge, prior, unknown(""))
        return reach(told.question(speeds_mps=speeds_mps))
    stream = stream_fit.estimate(log)
    curve = hull.fit(steady(log, BOAT, stream), prior)
    present = inputs.now(log, BOAT)
    told = inputs.RangeInputs(BOAT, charge, curve, stream, present=present)
    return reach(told.question(speeds_mps=speeds_mps))


def width(result: ReachResult, speed_mps: float) -> float:
    told = result.distance(result.nearest(speed_mps))
    return (told.high - told.low) / told.mid


@pytest.mark.parametrize("speed_mps", [SPEED, 1.8, 2.5])
def test_the_first_twenty_minutes_of_motoring_narrow_how_far(speed_mps):
    """At the speed motored and near it; the truth is the boat's own power, a third above."""
    speeds = np.array([1.8, 2.2, 2.5])
    before, after = asked(None, speeds), asked(motoring(20), speeds)
    print(
        f"\n{speed_mps} m/s: {width(before, speed_mps):.0%} of the middle before, "
        f"{width(after, speed_mps):.0%} after"
    )
    assert width(before, speed_mps) > 0.4  # wide
    assert width(after, speed_mps) < 0.8 * width(before, speed_mps)


def test_going_on_as_now_is_sure_after_twenty_minutes_and_right():
    after = asked(motoring(20), np.array([1.8]))
    assert after.as_now is not None
    told = after.power(after.as_now)
    assert told.low < TRUE_W < told.high
    assert (told.high - told.low) / told.mid < 0.2


def test_day_one_says_that_it_rests_on_the_boat_file_alone():
    assert "from the hull's numbers alone" in asked(None, np.array([2.0])).reason
    assert "from 1" in asked(motoring(20), np.array([2.0])).reason
    assert "minutes of steady motoring" in asked(motoring(20), np.array([2.0])).reason


@pytest.fixture
def no_log(tmp_path, monkeypatch):
    """A boat file, and nothing recorded anywhere."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for name in ("KEELWATT_LOG", "KEELWATT_BOAT", "XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)
    path = tmp_path / "boat.toml"
    path.write_text(BOAT_TEXT)
    return str(path)


def test_before_anything_is_recorded_the_boat_file_answers(no_log, capsys):
    assert main(["range", "--boat", no_log]) == 0
    told = capsys.readouterr().out.replace("\n", " ")
    assert "If the pack is full: between" in told
    assert "nothing recorded yet" in told
    assert main(["hull", "--boat", no_log]) == 0
    assert "the hull's numbers alone" in capsys.readouterr().out.replace("\n", " ")


def test_a_log_that_is_named_and_not_there_is_still_missed(no_log, capsys):
    assert main(["range", "--boat", no_log, "--log", "elsewhere.sqlite"]) == 2
    assert "there is no log at elsewhere.sqlite" in capsys.readouterr().err

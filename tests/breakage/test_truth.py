"""What the boat would do from now on, as the harness has it: tide and sun go on."""

from dataclasses import replace

import numpy as np
import pytest

from replay.boatsim.ahead import sun_w
from replay.boatsim.physics.place import Sky, Stream
from tests.breakage.recordings import recording
from tests.breakage.truth import truth_of

AT = 1320
BOAT = 61  # its panels cover a good part of what it draws at a slow speed


@pytest.fixture(scope="module")
def truth():
    """Of one boat in still water, on 21 March at the equator, at noon."""
    found = truth_of(recording(BOAT), AT, None)
    scene = replace(
        found.outing.scene,
        stream=Stream((0.0, 0.0, 0.0), (0.0, 0.0, 0.0)),
        sky=Sky(0.0, 81, float(AT), clear_frac=0.6, cloud_frac=0.0),
    )
    return replace(found, outing=replace(found.outing, scene=scene))


def test_the_sun_follows_its_height(truth):
    # at the equator on day 81 the declination is 0 (Cooper), so the sine is that of the hour
    # angle; its power 1.2 is the simulation's own
    hours = np.array([0.0, 3.0, 5.0, 9.0])
    want = 0.6 * truth.outing.boat.solar_peak_w * np.maximum(np.cos(np.pi * hours / 12), 0) ** 1.2
    assert sun_w(truth.outing, AT + hours * 3600) == pytest.approx(want, abs=0.1)


def test_a_run_spends_what_the_sun_does_not_bring(truth):
    # energy by hand: charge above the reserve at the pack's mean voltage, and the sun's integral
    outing, boat = truth.outing, truth.outing.boat
    ran = truth.ahead(1.6)
    assert ran.limit[0] == "reserve"
    run_s = float(ran.duration_s[0])
    assert run_s > 8 * 3600  # into the night
    t_s = AT + np.arange(0.0, run_s, 30.0)
    sun_wh = sun_w(outing, t_s).sum() * 30 / 3600
    drawn_wh = (ran.pack_w[0] + sun_w(outing, np.array([float(AT)]))[0]) * run_s / 3600
    left_ah = (truth.soc_frac - boat.reserve_frac) * boat.true_cells().capacity_ah.mean()
    volts = outing.series["pack_v"][AT - 300 : AT].mean()
    assert drawn_wh - sun_wh == pytest.approx(left_ah * volts, rel=0.06)


def test_the_tide_turns_on_the_way(truth):
    # a stream that is all cosine helps at first and then hinders: its mean over a run is
    # sin(a) / a of what it is now, a the angle that the tide has gone
    from replay.boatsim.ahead import present_course
    from replay.boatsim.physics.place import TIDE_S

    way = np.radians(present_course(truth.outing, AT + 1))
    late = 2 * np.pi * AT / TIDE_S
    fair = Stream(
        *((0.0, 0.3 * along * np.cos(late), 0.3 * along * np.sin(late))
          for along in (np.sin(way), np.cos(way)))
    )  # fmt: skip
    helped = replace(
        truth,
        outing=replace(truth.outing, scene=replace(truth.outing.scene, stream=fair)),
    )
    still, ran = truth.ahead(1.6), helped.ahead(1.6)
    run_s = float(ran.duration_s[0])
    angle = 2 * np.pi * run_s / TIDE_S
    gained_m = 0.3 * run_s * np.sin(angle) / angle
    assert ran.distance_m[0] - 1.6 * run_s == pytest.approx(gained_m, abs=0.01 * 1.6 * run_s)
    assert still.distance_m[0] == pytest.approx(1.6 * float(still.duration_s[0]), rel=1e-9)

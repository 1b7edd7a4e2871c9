"""The charge at a trip's end is the figure that "how far" gives of the same moment."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from analyzer.answers.refresh import _at, _by_gauge
from analyzer.pack.soc import GAUGE_SD, Charge, known
from analyzer.pack.soc.state import PackedMixture
from analyzer.series.series import Series
from logger.boat import Boat
from tests.support.motor_boat import motor_boat

# Two thoughts of one pack: 0.7 of probability at 0.80 and 0.3 at 0.50, each with an sd of 0.01. The
# median lies where 0.3 + 0.7 Phi(z) = 0.5, z = -0.5659 (table of the normal distribution), that is
# at 0.7943; the mean is 0.71, where neither thought has the pack.
WEIGHT, MEAN, SD = (0.7, 0.3), (0.80, 0.50), 0.01
MEDIAN, MIXED_MEAN = 0.7943, 0.71


def _charge(boat: Boat) -> Charge:
    """Two readings of one filter step that thinks so; nothing bridged."""
    final = known(boat.pack, 0.7, 0.02)
    mean = np.repeat(final.mixture.mean[:1], 2, axis=0)
    mean[:, 0] = MEAN
    cov = np.repeat(final.mixture.cov[:1], 2, axis=0)
    cov[:, 0] = SD**2
    return Charge(
        t_s=np.array([0.0, 1.0]),
        soc_frac=np.full(2, MIXED_MEAN),
        sd_frac=np.full(2, 0.14),
        ocv_v=np.full(2, 52.0),
        v_r0=np.zeros(2),
        v_rc=np.zeros(2),
        final=replace(final, mixture=PackedMixture(np.array(WEIGHT), mean, cov), drift_sd=0.0),
        step_of=np.zeros(2, dtype=np.int64),
        components=np.array([[WEIGHT], [MEAN], [(SD, SD)]]),
    )


@pytest.mark.parametrize("at_us", [0, 1_000_000])
def test_a_skewed_charge_is_told_by_its_median(at_us: int) -> None:
    """Within the trip and at its end; the 80 % range goes from one thought to the other."""
    told = _at([(0, _charge(motor_boat()))], at_us)
    assert told.mid == pytest.approx(MEDIAN, abs=5e-4)
    assert told.low == pytest.approx(0.50, abs=0.01)
    assert told.high == pytest.approx(0.81, abs=0.01)


def test_what_was_bridged_widens_the_end_alone() -> None:
    """0.05 of charge, as the posterior at the end has it, on top of each thought."""
    boat = motor_boat()
    charge = _charge(boat)
    charge = replace(charge, final=replace(charge.final, drift_sd=0.05))
    highs = [_at([(0, charge)], at_us).high or 0.0 for at_us in (0, 1_000_000)]
    assert highs[1] - highs[0] > 0.03


def test_a_device_s_gauge_tells_the_end_as_how_far_takes_it() -> None:
    """The newest reading before it, with the posterior that a told charge has there."""
    boat = motor_boat()
    gauge = np.array([0.62, 0.61, np.nan, 0.30])
    log = SimpleNamespace(boat=boat)
    told = _by_gauge(log, Series(0, 1.0, 4, {"pack_soc_frac": gauge}), 3_000_000)  # type: ignore[arg-type]
    want = known(boat.pack, 0.61, GAUGE_SD)
    assert told is not None
    assert told.mid == pytest.approx(want.quantile_frac(0.5))
    assert told.low == pytest.approx(want.quantile_frac(0.1))
    assert _by_gauge(log, Series(0, 1.0, 4, {}), 3_000_000) is None  # type: ignore[arg-type]

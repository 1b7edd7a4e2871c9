"""Set and drift recovered on simulated zig-zags with no water log, and refused on one leg."""

import os

import numpy as np
import pytest

from analyzer.environment import stream_fit
from logger.units import KN
from tests.support.stream_legs import legs, off_deg

pytestmark = pytest.mark.field

COUNT = 300 if os.environ.get("KEELWATT_FULL") else 40
PLANS = {
    "six legs, 90 degrees apart": ([40, 130] * 3, 600),
    "eight legs, 60 degrees apart": ([30, 330] * 4, 300),
    "to and fro, four minutes each": ([40, 220], 240),
}


def asked(headings, leg_s, rng):
    """One invented zig-zag: error of drift [kn] and set [degrees], whether it is known, the reason,
    and whether the truth lies inside the 80 % ellipse (chi squared of 2: 3.22)."""
    series, toward, size = legs(
        [h + 30 * rng.random() for h in headings],
        leg_s,
        set_deg=rng.uniform(0, 360),
        drift_mps=rng.uniform(0.3, 1.3),
        advance_m=rng.uniform(0.08, 0.16),
        turns=rng.uniform(12, 25),
        compass_off=rng.normal(0, 2),
        seed=int(rng.integers(1 << 30)),
    )
    found = stream_fit.estimate(series)
    angle = np.radians(toward)
    off = found.mean_mps[-1] - size * np.array([np.sin(angle), np.cos(angle)])
    return (
        abs(found.speed_mps - size) / KN,
        off_deg(found.toward_deg, toward),
        found.known,
        found.reason,
        off @ np.linalg.solve(found.cov[-1], off) < 3.22,
    )


@pytest.mark.parametrize("plan", PLANS)
def test_stream_is_recovered(plan):
    rng = np.random.default_rng(77)
    headings, leg_s = PLANS[plan]
    rows = [asked(headings, leg_s, rng) for _ in range(COUNT)]
    kn, deg = (np.array([row[k] for row in rows]) for k in (0, 1))
    within = (kn <= 0.15) & (deg <= 10)
    print(
        f"\n{plan}: {COUNT} times; drift off {np.median(kn):.2f} kn (19 in 20 within "
        f"{np.quantile(kn, 0.95):.2f}), set off {np.median(deg):.1f}° (within "
        f"{np.quantile(deg, 0.95):.1f}°); inside 0.15 kn and 10°: {within.mean():.0%}; "
        f"80 % ellipse held {np.mean([row[4] for row in rows]):.0%}"
    )
    assert np.mean([row[2] for row in rows]) > 0.9
    assert within.mean() >= 0.95
    assert np.mean([row[4] for row in rows]) >= 0.7


def test_one_straight_leg_is_refused():
    rng = np.random.default_rng(78)
    rows = [asked([40], 3600, rng) for _ in range(COUNT)]
    refused = np.mean([not row[2] for row in rows])
    print(f"\none straight leg: refused {refused:.0%}, saying: {rows[0][3]}")
    assert refused == 1.0
    assert all("one heading" in row[3] for row in rows)

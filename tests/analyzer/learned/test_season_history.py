"""What is kept of a trip's energies is what its review tells."""

import pytest

from analyzer.answers import Log
from analyzer.learned import season_history


def test_kept_energies_are_the_review_s(demo_log):
    log = Log(demo_log, None)
    log.refresh()
    told = {row.text: row.energy for row in log.review(1).ledger}
    with log.opened() as opened:
        (kept,) = season_history.of_trips(opened).values()
        between = season_history.between_trips(opened)
    for text in ("to the motor", "from the sun", "given by the pack, net", "not accounted for"):
        assert kept.rows[text].mid == pytest.approx(told[text].mid, abs=0.02), text
    # by pandas, second by second: the berth's and the trip's together are the log's
    shore_wh = float(log.frame("shore_power_w").sum().iloc[0]) / 3600
    ours_wh = -kept.rows["from shore"].mid - sum(one.rows["from shore"].mid for one in between)
    assert ours_wh == pytest.approx(shore_wh, rel=0.01)
    assert shore_wh > 5
    # the demo went out with a fair stream and came home against it
    assert kept.water_m > 0
    assert kept.ground_m > 0


def test_a_second_gather_reads_nothing_again(demo_log, monkeypatch):
    log = Log(demo_log, None)
    log.refresh()
    with log.opened() as opened:
        monkeypatch.setattr(season_history, "keep_trip", lambda *_: pytest.fail("kept again"))
        season_history.gather(opened, opened.store.trips())

"""When a commit is due."""

from types import SimpleNamespace

import numpy as np

from logger.reading import (
    Block,
    Row,
    UtcFix,
)
from logger.store import due
from tests.support.stored import (
    PACK,
    S,
)

NOON_US = 1_790_000_000 * S


def test_live_rows_are_committed_by_their_own_age(store, monkeypatch):
    """However long they were on their way: the log must not lose what is older than flush_s."""
    now_us = [1000 * S]
    monkeypatch.setattr(due, "time", SimpleNamespace(monotonic=lambda: now_us[0] / S))

    def tail():
        return store._db.execute("SELECT count(*) FROM tick").fetchone()[0]

    with store.writer("boot-a", flush_s=1.0, now_us=lambda: now_us[0]) as w:
        assert w.due_in_s() == 1.0
        w.add(Row(PACK, now_us[0] - 200_000, [50.0, 1.0]))  # it waited 0.2 s in its source
        assert 0.6 < w.due_in_s() <= 0.8
        now_us[0] += 600_000
        w.add(Row(PACK, now_us[0], [50.0, 1.0]))
        assert tail() == 0
        now_us[0] += 180_000
        w.flush_if_due()
        assert tail() == 1  # the first is 0.98 s old
        assert w.due_in_s() == 1.0
        w.add(Block(PACK, np.array([now_us[0] - 300_000, now_us[0]]), np.zeros((2, 2))))
        assert w.due_in_s() < 0.7
        now_us[0] += 10 * S
        w.flush_if_due()
        assert tail() == 2
        w.add(UtcFix(now_us[0], NOON_US, "gnss", 0.1))
        assert w.due_in_s() < 1.0
        now_us[0] += S
        w.flush_if_due()
        assert store.boots()[0].utc_source == "gnss"

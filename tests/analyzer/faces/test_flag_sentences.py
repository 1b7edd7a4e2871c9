"""A flag's life in words: since when, how long ago, over or not, seen or not."""

import pytest

from analyzer.faces import sentences

RAISED = 1_780_300_800.0  # 2026-06-01 08:00 UTC, by `date -u -d @1780300800`
DAY = 86400.0
LIVES = {
    "stands, a minute old": (
        {"age_s": 120.0},
        "since 1 Jun 2026 08:00, 2 min ago",
    ),
    "stands in a log of long ago": (
        {"age_s": 198 * DAY},
        "since 1 Jun 2026 08:00, 198 days ago",
    ),
    "over, not seen": (
        {"age_s": 3 * 3600.0, "cleared_utc_s": RAISED + 3600.0},
        "1 Jun 2026 08:00 to 09:00, over, 2 h ago, not yet seen",
    ),
    "over on another day, seen": (
        {"age_s": 3 * DAY, "cleared_utc_s": RAISED + DAY, "seen_utc_s": RAISED + 5.0},
        "1 Jun 2026 08:00 to 2 Jun 2026 08:00, over, 48 h ago",
    ),
    "of no known date": ({"age_s": None}, "since 1 Jun 2026 08:00"),
}


@pytest.mark.parametrize("name", LIVES)
def test_a_flag_tells_its_life(invented, name, monkeypatch):
    monkeypatch.setenv("TZ", "UTC")
    more, text = LIVES[name]
    flag = invented.flag(1, "warning", raised_utc_s=RAISED, **{"seen_utc_s": None} | more)
    assert sentences.flag_life(flag) == text


def test_what_is_over_is_told_in_one_line(invented):
    flag = invented.flag(1, "act now", cleared_utc_s=5.0, title="the lug is hot")
    assert sentences.flag_over(flag).startswith("Act now over: the lug is hot (")
    assert sentences.flag_now(flag) == "At last"
    assert sentences.flag_now(invented.flag(1, "warning")) == "Now"

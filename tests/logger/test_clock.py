from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.clock import (
    BOOT_GAP_US,
    RELEASE_UTC_US,
    ROLLOVER_US,
    BootTimes,
    Dating,
    place,
    unrolled,
)
from logger.sources.source import UtcFix

S = 1_000_000
NOON_US = 1_790_000_000 * S  # a day in September 2026


def fix(source: str, uncertainty_s: float = 1.0, utc_us: int = NOON_US, t_us: int = 0) -> UtcFix:
    return UtcFix(t_us, utc_us, source, uncertainty_s)


def dated(offset_us: int, first_us: int, last_us: int, source: str = "gnss") -> BootTimes:
    return BootTimes(offset_us, source, 0.1, first_us, last_us)


def undated(first_us: int | None, last_us: int | None) -> BootTimes:
    return BootTimes(None, None, None, first_us, last_us)


@pytest.mark.parametrize(
    ("have", "new", "wins"),
    [
        (Dating(), fix("file"), True),
        (Dating(0, "file", 1.0), fix("ntp"), True),
        (Dating(0, "ntp", 0.01), fix("gnss", 1.0), True),  # rank goes before uncertainty
        (Dating(0, "gnss", 1.0), fix("ntp", 0.001), False),
        (Dating(0, "gnss", 1.0), fix("gnss", 0.5), True),
        (Dating(0, "gnss", 1.0), fix("gnss", 1.0), False),  # no rewriting at every fix
        (Dating(), fix("sundial"), False),
    ],
)
def test_improved_takes_higher_rank_then_smaller_uncertainty(have, new, wins):
    assert (have.improved(new, RELEASE_UTC_US) is not None) == wins


def test_improved_offset_is_utc_minus_monotonic():
    dating = Dating().improved(fix("gnss", t_us=7 * S), RELEASE_UTC_US)
    assert dating is not None
    assert dating.utc_offset_us == NOON_US - 7 * S


def test_unrolled_corrects_a_receiver_1024_weeks_behind():
    # 1024 weeks are 7168 days: 2026-09-21 minus that is 2007-02-05 (calendar sum).
    behind = fix("gnss", utc_us=NOON_US - 7168 * 86400 * S)
    right, remark = unrolled(behind)
    assert right.utc_us == NOON_US
    assert "1024 weeks" in remark


def test_unrolled_corrects_two_rollovers():
    right, remark = unrolled(fix("gnss", utc_us=NOON_US - 2 * ROLLOVER_US))
    assert right.utc_us == NOON_US
    assert "2048" in remark


@pytest.mark.parametrize(
    "honest",
    [
        fix("gnss"),
        fix("file", utc_us=NOON_US - ROLLOVER_US),  # a recording may be that old
        fix("gnss", utc_us=NOON_US - ROLLOVER_US // 2),  # old, but no multiple explains it
    ],
)
def test_unrolled_leaves_the_rest_alone(honest):
    assert unrolled(honest) == (honest, "")


def test_place_gives_dated_boots_their_utc():
    assert place([dated(NOON_US, 0, S), dated(NOON_US - 86400 * S, 0, S)]) == [
        NOON_US,
        NOON_US - 86400 * S,
    ]


def test_place_puts_an_undated_boot_after_the_one_before():
    offsets = place([dated(NOON_US, 5 * S, 100 * S), undated(40 * S, 50 * S)])
    assert offsets[1] + 40 * S == NOON_US + 100 * S + BOOT_GAP_US


def test_place_of_undated_boots_only_keeps_their_order():
    boots = [undated(10 * S, 20 * S), undated(3 * S, 9000 * S), undated(0, S)]
    spans = spans_of(boots)
    assert spans == sorted(spans)
    assert all(a[1] < b[0] for a, b in pairwise(spans))


def test_place_moves_an_undated_boot_past_a_dated_one_it_would_cross():
    first, last = dated(NOON_US, 0, 100 * S), dated(NOON_US + 300 * S, 0, 100 * S)
    boots = [first, undated(0, 3600 * S), last]
    offsets = place(boots)
    assert offsets[0] == NOON_US
    assert offsets[2] == NOON_US + 300 * S
    assert offsets[1] > offsets[2] + 100 * S


def test_place_treats_the_less_sure_of_two_crossing_live_boots_as_undated():
    sure = dated(NOON_US, 0, 1000 * S)
    wrong = BootTimes(NOON_US + 500 * S, "ntp", 5.0, 0, 1000 * S)
    offsets = place([sure, wrong])
    assert offsets[0] == NOON_US
    assert offsets[1] == NOON_US + 1000 * S + BOOT_GAP_US


def test_place_lets_recordings_of_the_same_hour_lie_over_each_other():
    boots = [dated(NOON_US, 0, 1000 * S, "file"), dated(NOON_US + 500 * S, 0, 1000 * S, "file")]
    assert place(boots) == [NOON_US, NOON_US + 500 * S]


def test_place_of_the_only_boot_is_its_monotonic_time_while_undated():
    assert place([undated(None, None), undated(5 * S, 9 * S)])[1] == 0


def test_place_puts_undated_boots_before_the_first_dated_one_near_it():
    # Near, not in 1970: nobody wants to look at a log of half a century.
    boots = [undated(0, 10 * S), undated(0, 20 * S), dated(NOON_US, 0, S)]
    spans = spans_of(boots)
    assert spans[2] == (NOON_US, NOON_US + S)
    assert spans[1][1] == NOON_US - BOOT_GAP_US
    assert spans[0][1] == spans[1][0] - BOOT_GAP_US


boot_times = st.builds(
    lambda source, offset_h, first_s, length_s, uncertainty_s: BootTimes(
        None if source is None else NOON_US + offset_h * 3600 * S,
        source,
        None if source is None else uncertainty_s,
        first_s * S,
        (first_s + length_s) * S,
    ),
    st.sampled_from([None, "gnss", "ntp"]),
    st.integers(-50, 50),
    st.integers(0, 1000),
    st.integers(0, 20_000),
    st.floats(0, 0.5),
)


@given(st.lists(boot_times, max_size=8))
def test_place_of_live_boots_never_overlaps(boots):
    for a, b in pairwise(sorted(spans_of(boots))):
        assert a[1] <= b[0] + 1 * S  # the two datings' own uncertainty together


def spans_of(boots):
    return [(b.first_us + o, b.last_us + o) for b, o in zip(boots, place(boots), strict=True)]

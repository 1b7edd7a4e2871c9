import time
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.clock import (
    BOOT_GAP_US,
    ROLLOVER_US,
    BootTimes,
    Dater,
    Dating,
    place,
    unrolled,
)
from logger.decode.nmea.sentence_time import SentenceUtc
from logger.decode.utc_fix import FixSieve
from logger.reading import UtcFix

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
def test_offer_takes_higher_rank_then_smaller_uncertainty(have, new, wins):
    dater = Dater(have)
    assert (dater.offer(new) is not None) == wins
    assert (dater.dating != have) == wins


def test_offset_is_utc_minus_monotonic():
    dating = Dater(Dating()).offer(fix("gnss", t_us=7 * S))
    assert dating is not None
    assert dating.utc_offset_us == NOON_US - 7 * S


def fixes(dater, utc_offset_us, start_s, count, source="gnss"):
    for k in range(count):
        t_us = (start_s + 10 * k) * S
        dater.offer(fix(source, utc_us=t_us + utc_offset_us, t_us=t_us))
    return dater.dating


def test_a_wrong_first_date_is_outvoted_by_later_fixes_that_agree():
    dater = Dater(Dating())
    dater.offer(fix("gnss", utc_us=NOON_US - 40 * 86400 * S))
    assert fixes(dater, NOON_US, 10, 2).utc_offset_us == NOON_US - 40 * 86400 * S
    dating = fixes(dater, NOON_US, 30, 3)
    assert dating.utc_offset_us == NOON_US
    assert "off" in dating.remark


def test_a_right_date_survives_single_wrong_fixes_and_drift():
    dater = Dater(Dating())
    dater.offer(fix("gnss"))
    for hour in range(48):
        t_us = hour * 3600 * S
        dater.offer(fix("gnss", utc_us=NOON_US + 99 * 86400 * S + t_us, t_us=t_us))
        drift_us = t_us // 20_000  # 50 ppm
        dater.offer(fix("gnss", utc_us=NOON_US + t_us + drift_us, t_us=t_us + S))
    assert dater.dating.utc_offset_us == NOON_US


def test_a_leap_second_moves_nothing():
    # UTC counts 23:59:60 once, the offset drops by a second, the boot keeps the one it has.
    dater = Dater(Dating())
    fixes(dater, NOON_US, 0, 5)
    assert fixes(dater, NOON_US - S, 60, 50).utc_offset_us == NOON_US


@pytest.mark.parametrize("leap_s", [2, 3, 18])
def test_a_receiver_that_did_not_know_the_leap_seconds_yet_is_put_right(leap_s):
    # GPS - UTC is 18 s since 2017 (reference values 5.2); until the almanac has come, up to 12.5
    # minutes, a receiver may use none, or the number it was made with.
    dater, decoder = Dater(Dating()), SentenceUtc()
    for second in range(900):
        late_s = leap_s if second < 750 else 0
        moment = time.gmtime(NOON_US // S + second + late_s)
        data = [time.strftime("%H%M%S", moment), "A", *[""] * 6, time.strftime("%d%m%y", moment)]
        found = decoder.offer("RMC", data, second * S)
        if found:
            dater.offer(found)
    assert dater.dating.utc_offset_us == NOON_US
    assert f"{leap_s} s off" in dater.dating.remark


def test_a_drifting_clock_of_five_days_is_not_taken_for_a_wrong_date():
    dater, decoder = Dater(Dating()), FixSieve()
    for minute in range(5 * 1440):
        t_us = minute * 60 * S
        found = decoder.offer(t_us, NOON_US + t_us + t_us // 20_000, "gnss", 0.5)  # 50 ppm
        if found:
            dater.offer(found)
    assert dater.dating.utc_offset_us == NOON_US
    assert dater.dating.remark == ""


def test_a_system_clock_that_jumps_ten_years_back_moves_nothing():
    dater = Dater(Dating())
    fixes(dater, NOON_US, 0, 5, "ntp")
    ten_years_us = 3652 * 86400 * S
    assert fixes(dater, NOON_US - ten_years_us, 60, 50, "ntp").utc_offset_us == NOON_US


def test_a_live_receiver_1024_weeks_behind_is_corrected_and_said():
    # 1024 weeks are 7168 days: 2026-09-21 minus that is 2007-02-05 (calendar sum).
    dating = Dater(Dating()).offer(fix("gnss", utc_us=NOON_US - 7168 * 86400 * S))
    assert dating.utc_offset_us == NOON_US
    assert "1024 weeks" in dating.remark


def test_two_rollovers_are_corrected_and_years_after_the_release_too():
    later_us = NOON_US + 15 * 366 * 86400 * S
    dating = Dater(Dating()).offer(fix("gnss", utc_us=later_us - 2 * ROLLOVER_US))
    assert dating.utc_offset_us == later_us
    assert "2048" in dating.remark


def test_the_logs_own_last_date_counts_as_past():
    later_us = NOON_US + 20 * 366 * 86400 * S
    rolled = fix("gnss", utc_us=later_us - ROLLOVER_US)
    assert Dater(Dating()).offer(rolled).utc_offset_us != later_us  # it may well be true
    assert Dater(Dating(), later_us - 86400 * S).offer(rolled).utc_offset_us == later_us


def test_a_recording_may_be_old():
    dater = Dater(Dating())
    old_us = NOON_US - ROLLOVER_US
    dater.offer(fix("file", utc_us=old_us))
    dating = dater.offer(fix("gnss", 0.1, utc_us=old_us + 1000 * S))
    assert dating == Dating(old_us + 1000 * S, "gnss", 0.1, "", recorded=True)


def test_a_rolled_over_receiver_in_a_recording_is_held_against_the_recordings_date():
    dater = Dater(Dating())
    dater.offer(fix("file", utc_us=NOON_US))
    dating = dater.offer(fix("gnss", 0.1, utc_us=NOON_US + 1000 * S - ROLLOVER_US))
    assert dating.utc_offset_us == NOON_US + 1000 * S
    assert "1024 weeks" in dating.remark


def test_unrolled_leaves_what_no_multiple_explains():
    old = fix("gnss", utc_us=NOON_US - ROLLOVER_US // 2)
    assert unrolled(old, NOON_US, 86400 * S) == (old, "")


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


def test_place_of_many_boots_is_quick():
    boots = [dated(NOON_US + k * 86400 * S, 0, 3600 * S) for k in range(3000)]
    boots[1::10] = [undated(0, 3600 * S)] * 300
    started_s = time.process_time()
    spans = spans_of(boots)
    assert time.process_time() - started_s < 5.0
    assert all(a[1] < b[0] for a, b in pairwise(sorted(spans)))


def test_place_treats_the_less_sure_of_two_crossing_live_boots_as_undated():
    sure = dated(NOON_US, 0, 1000 * S)
    wrong = BootTimes(NOON_US + 500 * S, "ntp", 5.0, 0, 1000 * S)
    offsets = place([sure, wrong])
    assert offsets[0] == NOON_US
    assert offsets[1] == NOON_US + 1000 * S + BOOT_GAP_US


def test_place_lets_recordings_of_the_same_hour_lie_over_each_other():
    boots = [
        BootTimes(NOON_US + k * 500 * S, "gnss", 0.1, 0, 1000 * S, recorded=True) for k in range(2)
    ]
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


YEAR_US = 366 * 86400 * S


@pytest.mark.parametrize(
    ("said_us", "believed"),
    [
        (NOON_US, True),
        (NOON_US + 9 * YEAR_US, True),
        (NOON_US + 12 * YEAR_US, False),  # a receiver that says 2038
        (NOON_US - 7168 * 86400 * S, True),  # one rollover behind: today
        (935_000_000 * S, False),  # August 1999, what some receivers wake with: two make 2038
        (0, False),
    ],
)
def test_a_live_date_that_cannot_be_is_none(said_us: int, believed: bool):
    dating = Dater(Dating(), live=True).offer(fix("gnss", utc_us=said_us))
    assert (dating is not None) == believed


def test_one_boot_far_ahead_does_not_move_those_after_it():
    day = 86400 * S
    right = [dated(NOON_US + k * day, 0, 3600 * S) for k in (0, 1, 3, 4)]
    ahead = dated(NOON_US + 3652 * day, 0, 3600 * S)
    offsets = place([*right[:2], ahead, *right[2:]])
    assert [offsets[k] for k in (0, 1, 3, 4)] == [b.utc_offset_us for b in right]
    assert offsets[2] == NOON_US + day + 3600 * S + BOOT_GAP_US


def test_an_hour_ahead_in_a_short_boot_is_outvoted_too():
    ahead = dated(NOON_US + 72 * 60 * S, 0, 60 * S)
    right = [dated(NOON_US + k * 600 * S, 0, 300 * S) for k in (1, 2)]
    assert place([ahead, *right])[1:] == [b.utc_offset_us for b in right]
    assert place([ahead, *right])[0] + 60 * S == NOON_US + 600 * S - BOOT_GAP_US


@given(
    st.lists(st.integers(0, 1000), min_size=1, max_size=9, unique=True),
)
def test_as_few_boots_as_possible_are_outvoted(hours: list[int]):
    """Against all subsets: the longest one whose dates go forward."""
    boots = [dated(NOON_US + h * 3600 * S, 0, S) for h in hours]
    placed = place(boots)
    kept = [k for k, b in enumerate(boots) if placed[k] == b.utc_offset_us]
    longest = max(
        len(chosen)
        for n in range(len(hours) + 1)
        for chosen in combinations(hours, n)
        if all(a < b for a, b in pairwise(chosen))
    )
    assert len(kept) >= longest

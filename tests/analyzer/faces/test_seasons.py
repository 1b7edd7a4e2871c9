"""A season's sentences, its text at three widths, its paper and what may be asked for."""

import re
from datetime import UTC, date, datetime

import pytest

from analyzer.errors import BadDates
from analyzer.faces import seasons, units
from analyzer.faces.charts.svg import Marks, chart
from analyzer.faces.cli.base import terminal
from analyzer.faces.cli.text import season as text
from analyzer.faces.report import season as paper
from analyzer.faces.report.pdf import pdf
from analyzer.faces.report.report import html
from tests.support.invented_season import MAY, MONTH_S, SEASON


@pytest.fixture
def utc():
    token = units.CHOSEN.set(units.Units(**{**units.SEA.__dict__, "utc": True}))
    yield
    units.CHOSEN.reset(token)


def at(*day):
    return datetime(*day, tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("asked", "want"),
    [
        ((2026, None, None), (at(2026, 1, 1), at(2027, 1, 1))),
        ((None, "2026-05-01", "2026-05-31"), (at(2026, 5, 1), at(2026, 6, 1))),
        ((None, None, "2026-05-31"), (0.0, at(2026, 6, 1))),
        ((None, "2026-05-01", None), (at(2026, 5, 1), None)),
        ((None, None, None), (None, None)),
    ],
)
def test_a_season_s_days_both_count(utc, asked, want):
    assert seasons.asked_days(*asked) == want


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ((2026, "2026-05-01", None), "by its year or by its days"),
        ((None, "1 May", None), "year-month-day"),
        ((None, "2026-06-01", "2026-05-01"), "lies before its first"),
    ],
)
def test_what_cannot_be_a_season_is_one_sentence(asked, says):
    with pytest.raises(BadDates, match=says):
        seasons.asked_days(*asked)


@pytest.mark.parametrize("width", [40, 80, 120])
def test_the_text_keeps_to_the_terminal_and_says_all(monkeypatch, width):
    monkeypatch.setattr(terminal, "width", lambda: width)
    said = text.season(SEASON)
    longest = max(len(line) for line in said.splitlines())
    assert longest <= max(width, 44)  # a row of the table of speeds is 44 wide
    flat = " ".join(said.split())
    for words in (
        "12 trips, 180 nmi: 24 h under motor, 15 h under sail",
        "-5.0 % (-7.0 to -3.0 %)",
        "From the turning propeller",
        "4.5 kn 320 to 345 Wh/nmi",
        "The stream helped: -10 % (-14 to -6.0 %)",
        "5 of 12 trips were held against the log",
        "On 2 of 12 trips the distance was not measured.",
    ):
        assert words in flat, words


def test_the_paper_is_one_file_and_a_pdf():
    made = paper.report(SEASON)
    assert made.title == "Invented boat: season"
    said = html(made)
    assert "Growth on the bottom" in said
    assert said.count("<svg") == 3  # speed, months, resistance: the capacity did not show
    assert pdf(made)[:5] == b"%PDF-"


def test_a_chart_over_months_names_them():
    times = [MAY + k * MONTH_S for k in range(13)]
    values = [float(k) for k in range(13)]
    marks = Marks("range", values, values, "middle", values)
    names = re.findall(r">(\w{3} 20\d\d)<", chart("A year", times, [], marks=marks))
    # 1 May 2027 is the chart's right end, where no name fits
    assert names == ["May 2026", "Jul 2026", "Sep 2026", "Nov 2026", "Jan 2027", "Mar 2027"]


def test_a_cleaning_is_told_with_its_days(utc):
    from dataclasses import replace

    from analyzer.estimation.estimate import Estimate

    cost = replace(
        SEASON.fouling,
        cleaned_utc_s=(at(2026, 5, 9), at(2026, 5, 16)),
        given_back=Estimate(0.07, 0.05, 0.09, "frac"),
    )
    first = next(seasons.fouling_lines(cost))
    assert "cleaned between 9 May 2026 and 16 May 2026" in first
    assert "5 to 9 %" in first


def test_a_season_of_one_day_has_one_date(utc):
    from dataclasses import replace

    noon = at(2026, 5, 16) + 43_200
    assert seasons.period(replace(SEASON, start_utc_s=noon, end_utc_s=noon + 60)) == "16 May 2026"


def test_why_growth_is_not_known_is_said_once():
    from dataclasses import replace

    from analyzer.estimation.estimate import cannot_say

    why = "a trend wants trips some days apart"
    cost = replace(
        SEASON.fouling,
        cleaned_utc_s=None,
        since_utc_s=None,
        sentence=why,
        speed=cannot_say(why, "frac"),
    )
    assert list(seasons.fouling_lines(cost)) == []
    assert list(seasons.fouling_lines(replace(cost, sentence="another"))) == [why]


def test_days_beside_a_year_are_a_part_of_it(utc):
    first, last = date(2025, 6, 1), date(2026, 3, 31)
    assert seasons.stretch(2026, first, last) == (at(2026, 1, 1), at(2026, 4, 1))
    # days that no clock of this computer reaches are taken for the nearest that it does
    far = seasons.stretch(None, date(1, 1, 1), date(9999, 12, 31))
    assert far == (at(1970, 1, 2), at(2201, 1, 1))

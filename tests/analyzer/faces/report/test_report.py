"""The printed report: whole, self-contained, and the PDF readable by its own rules."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import combinations

import pytest

from analyzer.estimation.estimate import Estimate, cannot_say
from analyzer.estimation.results import (
    FlagView,
    LedgerRow,
    LegRow,
    Plot,
    ReviewAnswer,
    SagAccount,
    SagTerm,
    TripRow,
)
from analyzer.faces.charts import svg as linechart
from analyzer.faces.charts import track_svg
from analyzer.faces.report import pdf, report
from analyzer.faces.web.app import create_app
from analyzer.range.hindcast import Asked, Hindcast, Score

VOLTS = Estimate(1.25, 1.0, 1.5, "V")
REVIEW = ReviewAnswer(
    trip=TripRow(
        4, 1.7e9, 1.7e9 + 7200, 9260.0, 2100.0, 150.0, 0.2, cannot_say("", "frac"),
        cannot_say("", "frac"), (LegRow("motoring", 1.7e9, 1.7e9 + 7200, 9260.0, 1950.0, 1.286),),
    ),
    ledger=(LedgerRow("to the motor", Estimate(1900.0, 1850.0, 1950.0, "Wh")),),
    sag=(SagAccount("the lowest voltage", 1.7e9, 80.0, 53.0, 50.0, (SagTerm("resistance", VOLTS),),
                    "At 80 A the voltage stood 3.0 V below its rest."),),
    flags=(FlagView(1, "warning", "cell <7>", "cell_low", "Cell <7> & low", "2.70 V", "", "", "",
                    1.7e9, None, None, ()),),
    remarks=("0.5 mΩ more",),
)  # fmt: skip
PLOT = Plot(
    [1.7e9 + 60 * k for k in range(121)],
    {
        "speed_ground_mps": [2.0 if k % 50 else None for k in range(121)],
        "pack_voltage_v": [53 - 0.01 * k for k in range(121)],
        "pack_current_a": [80.0] * 121,
        "probe_lug_temp_c": [20 + 0.1 * k for k in range(121)],
        "latitude_deg": [50 + 0.0005 * k for k in range(121)],
        "longitude_deg": [3.0] * 121,
    },
)


@pytest.fixture
def paper() -> report.Report:
    return report.report("Invented", REVIEW, PLOT)


class Balance(HTMLParser):
    """Opens and closes must match; nothing may come from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.outside: list[str] = []

    def handle_starttag(self, tag, attrs):
        if tag not in ("meta", "br"):
            self.open.append(tag)
        self.outside += [v for k, v in attrs if k in ("src", "href") and v]

    def handle_startendtag(self, tag, attrs):
        self.outside += [v for k, v in attrs if k in ("src", "href") and v]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def test_html_is_whole_escaped_and_needs_nothing_else(paper):
    text = report.html(paper)
    read = Balance()
    read.feed(text)
    assert read.open == []
    assert read.outside == []
    assert "Cell &lt;7&gt; &amp; low" in text
    assert "<script" not in text
    for said in ("5.0 nmi", "1850 to 1950", "3.0 V below", "no qualified electrician"):
        assert said in text


def test_pdf_is_a_pdf_with_pages(paper):
    data = pdf.pdf(paper)
    assert data.startswith(b"%PDF-")
    assert data.rstrip().endswith(b"%%EOF")
    assert int(re.search(rb"/Count (\d+)", data).group(1)) >= 1


def test_a_trip_with_nothing_to_draw_is_still_a_report():
    bare = report.report("Invented", REVIEW, Plot())
    assert all(part.pictures == () for part in bare.parts)
    assert "<svg" not in report.html(bare)
    assert pdf.pdf(bare).startswith(b"%PDF-")


def test_chart_keeps_gaps_and_black_and_white():
    svg = linechart.chart("Speed", [0.0, 1.0, 2.0, 3.0], [linechart.Line("a", [1, None, 2, 3])])
    assert re.search(r'd="M52\.0 [\d.]+M[\d.]+ [\d.]+L', svg)  # the gap is not joined
    assert set(re.findall(r'(?:stroke|fill)="(#\w+|none)"', svg)) <= {"#000", "#bbb", "none"}
    assert linechart.chart("Speed", [0.0, 1.0], [linechart.Line("a", [None, None])]) == ""


def test_lines_are_told_apart_without_colour_and_long_legends_wrap():
    lines = [linechart.Line(f"a rather long name {k}", [k, k + 1]) for k in range(5)]
    svg = linechart.chart("Heat", [0.0, 3600.0], lines)
    assert len(set(re.findall(r'stroke-width="1.3"( stroke-dasharray="[^"]+")?', svg))) == 5
    xs = [float(x) for x in re.findall(r'<text x="([\d.]+)"[^>]*>a rather', svg)]
    assert max(xs) + 6 * 20 <= linechart.WIDTH


def test_a_calm_line_looks_calm():
    svg = linechart.chart("Heat", [0.0, 60.0], [linechart.Line("a", [14.0, 14.4])], 20.0)
    ys = [float(y) for y in re.search(r'd="M52\.0 ([\d.]+)L[\d.]+ ([\d.]+)"', svg).groups()]
    assert abs(ys[0] - ys[1]) < 5


def test_times_are_clock_times():
    # 1 January 2026 00:00 UTC is 1767225600 s after 1970 (date -u -d 2026-01-01 +%s).
    svg = linechart.chart("x", [1767225600.0, 1767229200.0], [linechart.Line("a", [1, 2])])
    for said in ("00:00", "00:30", "01:00", "times UTC"):
        assert f">{said}<" in svg


def test_track_is_dashed_where_the_motor_was_off_and_says_when():
    latitude = [50 + 0.01 * k for k in range(7)]
    times, motor = [600.0 * k for k in range(7)], [True] * 4 + [False] * 3
    svg = track_svg.track(latitude, [3.0] * 7, times, motor)
    solid, dashed = re.findall(r'<path d="(M[^"]+)" fill="none"', svg)
    assert solid.count("L") == 3
    assert dashed.count("L") == 3
    assert svg.count("stroke-dasharray") == 1
    assert ">00:30<" in svg


def test_labels_of_a_track_lie_neither_on_it_nor_on_each_other():
    # There and back in zigzags: a label at a fixed place would lie on the next leg.
    legs = 40
    latitude = [50 + 0.004 * (k % 2) + 0.0002 * k for k in range(legs)]
    longitude = [3 + 0.004 * min(k, legs - k) for k in range(legs)]
    svg = track_svg.track(latitude, longitude, [1767225600.0 + 300 * k for k in range(legs)])
    said = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>(\d\d:\d\d|start|end)<', svg)
    assert len(said) >= 7
    # The narrowest that 12 px letters come to: digits of 0.5 em, x-height 0.5 em (from memory).
    boxes = [(float(x), float(y) - 7, float(x) + 6 * len(t), float(y)) for x, y, t in said]
    for one, other in combinations(boxes, 2):
        assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


def test_pages_are_as_few_as_smaller_pictures_allow_and_ohm_is_a_letter(paper):
    ohm = replace(paper, lines=("0.84 mΩ too much in the joint, and 1 kΩ",))
    data = pdf.pdf(ohm)
    assert b"/Symbol" in data  # the PDF standard's own font that has the Greek letters
    assert pdf._laid_out(ohm, 1.0).pages_count >= data.count(b"/Type /Page\n")


def test_track_is_to_scale():
    # One minute of latitude is a nautical mile within half a per cent.
    svg = track_svg.track([50.0, 50 + 1 / 60], [3.0, 3.0], size=420)
    start, end = re.search(r'd="M[\d.]+ ([\d.]+)L[\d.]+ ([\d.]+)"', svg).groups()
    grid = [float(y) for y in re.findall(r'd="M0 ([\d.]+)h', svg)]
    named = [float(n) for n in re.findall(r">([\d.]+) N<", svg)]
    mile = (grid[0] - grid[-1]) / (named[-1] - named[0] + named[0])
    assert (float(start) - float(end)) / mile == pytest.approx(1.0, rel=0.006)


def test_hindcast_is_drawn_with_its_range_and_a_gap_where_nothing_was_answered():
    asked = [Asked(1.7e9 + 300 * k, (9e3 - 500 * k, 1e4 - 500 * k, 11e3 - 500 * k), 0.8,
                   (900.0, 1000.0, 1100.0), 1010.0, 600.0) for k in (1, 2, 3, 9, 10)]  # fmt: skip
    past = Hindcast(tuple(asked), Score(5, 1.0, 0.01, 0.2, "5 answers held"))
    paper = report.report("Invented", REVIEW, PLOT, past)
    (part,) = [p for p in paper.parts if p.heading.startswith("How far")]
    assert len(part.pictures) == 2
    assert part.lines == ("5 answers held.",)
    line = re.search(r'<path d="(M[^"]+)" fill="none" stroke="#000"', part.pictures[0]).group(1)
    assert line.count("M") == 2  # a gap is not bridged
    assert part.pictures[1].count("<circle") == 6  # five, and the legend's


def test_every_flag_says_what_to_do_and_a_shared_caution_is_said_once():
    flag = REVIEW.flags[0]
    both = tuple(replace(flag, title=t, first_action="Slow down.", caution="Isolate it first.")
                 for t in ("One", "Two"))  # fmt: skip
    text = report.html(report.report("Invented", replace(REVIEW, flags=both), PLOT))
    assert text.count("First: Slow down.") == 2
    assert text.count("Isolate it first.") == 1


def test_volts_stand_side_by_side_with_their_sum(paper):
    (part,) = [p for p in paper.parts if p.heading == "Where the volts went"]
    assert part.rows[-1] == ("Together", "3.00")
    assert ("The cells' resistance", "1.25 (1.00 to 1.50)") in part.rows


@pytest.mark.parametrize("kind", ["html", "pdf"])
def test_the_page_gives_the_report_to_take_away(browse, log, kind):
    app, number = create_app(log), log.review().trip.number
    path = f"/trip/{number}/report.{kind}"
    assert f'href="{path}"' in browse(app).get(f"/trip/{number}").text
    answer = browse(app).get(path)
    assert answer.status_code == 200
    assert f"keelwatt-trip-{number}.{kind}" in answer.headers["content-disposition"]
    assert answer.content.startswith(b"%PDF-" if kind == "pdf" else b"<!doctype html>")
    assert browse(app).get(f"/trip/{number}/report.doc").status_code in (404, 422)

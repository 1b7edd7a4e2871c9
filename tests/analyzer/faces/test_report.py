"""The printed report: whole, self-contained, and the PDF readable by its own rules."""

import re
from html.parser import HTMLParser

import pytest

from analyzer.estimate import Estimate, cannot_say
from analyzer.faces import linechart, report
from analyzer.results import (
    FlagView,
    LedgerRow,
    LegRow,
    Plot,
    ReviewAnswer,
    SagAccount,
    SagTerm,
    TripRow,
)

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
    data = report.pdf(paper)
    assert data.startswith(b"%PDF-")
    assert data.rstrip().endswith(b"%%EOF")
    assert int(re.search(rb"/Count (\d+)", data).group(1)) >= 1


def test_a_trip_with_nothing_to_draw_is_still_a_report():
    bare = report.report("Invented", REVIEW, Plot())
    assert bare.charts == ()
    assert bare.map == ""
    assert "<svg" not in report.html(bare)
    assert report.pdf(bare).startswith(b"%PDF-")


def test_chart_keeps_gaps_and_black_and_white():
    svg = linechart.chart("Speed", [0.0, 1.0, 2.0, 3.0], [linechart.Line("a", [1, None, 2, 3])])
    assert re.search(r'd="M52\.0 [\d.]+M[\d.]+ [\d.]+L', svg)  # the gap is not joined
    assert set(re.findall(r'(?:stroke|fill)="(#\w+|none)"', svg)) <= {"#000", "#bbb", "none"}
    assert linechart.chart("Speed", [0.0, 1.0], [linechart.Line("a", [None, None])]) == ""


def test_track_is_to_scale():
    # One minute of latitude is a nautical mile within half a per cent.
    svg = linechart.track([50.0, 50 + 1 / 60], [3.0, 3.0], size=420)
    line, bar = re.findall(r'd="M[\d.]+ ([\d.]+)(?:L[\d.]+ ([\d.]+)|h([\d.]+))', svg)
    tall = float(line[0]) - float(line[1])
    said = float(re.search(r">([\d.]+) nmi", svg).group(1))
    assert tall / float(bar[2]) * said == pytest.approx(1.0, rel=0.006)

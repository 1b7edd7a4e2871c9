"""The printed report as A4 pages."""

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from fpdf import FPDF
from fpdf.fonts import FontFace

from analyzer.faces import line_breaks
from analyzer.faces.report.report import Part, Report, Rows

MARGIN_MM, WIDE_MM = 15.0, 180.0  # of an A4 page (ISO 216), 210 mm wide
CHART_PX, CHART_MM = 720.0, 180.0  # a chart as wide as the page, assumed

SCALES = (1.0, 0.94, 0.88)  # of the pictures, where smaller ones save a page; assumed
OHM = "Ω"  # in none of the PDF's own text fonts; its symbol font has it at "W"
OTHERS = {  # for other characters that the PDF's own fonts lack
    "–": "-",
    "−": "-",
    "’": "'",
    "“": '"',
    "”": '"',
}


class _Pages(FPDF):
    """Pages with a footer that says what they belong to."""

    def __init__(self, title: str, scale: float = 1.0) -> None:
        super().__init__(format="A4")
        self.scale = scale
        self.said = _latin(title)
        self.set_margins(MARGIN_MM, MARGIN_MM)
        self.set_auto_page_break(True, MARGIN_MM)
        self.set_title(self.said)
        self.set_lang("en")

    def footer(self) -> None:
        self.set_y(-10)
        self.set_font("helvetica", size=8)
        self.cell(WIDE_MM / 2, 4, self.said)
        self.cell(WIDE_MM / 2, 4, f"page {self.page_no()} of {{nb}}", align="R")


def pdf(paper: Report) -> bytes:
    """The report on A4 pages, as few as its pictures allow."""
    tries = [_laid_out(paper, scale) for scale in SCALES]
    return bytes(min(tries, key=lambda page: page.pages_count).output())


def _laid_out(paper: Report, scale: float) -> _Pages:
    page = _Pages(paper.title, scale)
    page.add_page()
    page.set_font("helvetica", "B", 16)
    page.multi_cell(0, 9, _latin(paper.title), new_x="LMARGIN", new_y="NEXT", align="L")
    _lines(page, paper.lines)
    for part in paper.parts:
        _part(page, part)
    return page


def _part(page: _Pages, part: Part) -> None:
    first_mm = 6.0 * min(len(part.rows) + 1, 12)
    if part.pictures:
        first_mm = _height_mm(part.pictures[0], page.scale)
    if page.will_page_break(12 + first_mm):
        page.add_page()
    page.ln(3)
    page.set_font("helvetica", "B", 12)
    page.cell(0, 8, _latin(part.heading), new_x="LMARGIN", new_y="NEXT")
    for svg in part.pictures:
        _drawn(page, svg)
    if part.rows:
        _rows(page, part.rows)
    _lines(page, part.lines)


def _lines(page: _Pages, lines: Sequence[str]) -> None:
    page.set_font("helvetica", size=10)
    for line in lines:
        _line(page, line)
        page.ln(1)


def _line(page: _Pages, line: str) -> None:
    """A paragraph; each Ω from the symbol font. Numbers stay with their units."""
    text = line_breaks.tied(line)
    plain = _latin(text.replace(OHM, "W"))
    high_mm: Any = page.multi_cell(0, 5, plain, dry_run=True, output="HEIGHT")
    if page.will_page_break(high_mm):
        page.add_page()
    if OHM not in text:
        page.multi_cell(0, 5, _latin(text), new_x="LMARGIN", new_y="NEXT", align="L")
        return
    for k, piece in enumerate(text.split(OHM)):
        if k:
            page.set_font("symbol", size=10)
            page.write(5, "W")
            page.set_font("helvetica", size=10)
        page.write(5, _latin(piece))
    page.ln(5)


def _rows(page: _Pages, rows: Rows) -> None:
    page.set_font("helvetica", size=9)
    figures = len(rows[0]) - 1  # columns beside the first
    narrow_mm = 20.0 if figures > 3 else 34.0
    first_mm = WIDE_MM - narrow_mm * figures
    with page.table(
        line_height=5,
        col_widths=(first_mm, *[narrow_mm] * figures),
        text_align=("LEFT", *["RIGHT"] * figures),
        borders_layout="HORIZONTAL_LINES",
        headings_style=FontFace(emphasis="BOLD"),
    ) as grid:
        for row in rows:
            grid.row([_latin(cell) for cell in row])
    page.ln(2)


def _height_mm(svg: str, scale: float) -> float:
    wide, tall = _size_px(svg)
    return _width_mm(wide, scale) * tall / wide


def _width_mm(wide_px: float, scale: float) -> float:
    return min(CHART_MM * wide_px / CHART_PX, WIDE_MM) * scale


def _size_px(svg: str) -> tuple[float, float]:
    box = svg.split('viewBox="')[1].split('"')[0].split()
    return float(box[2]), float(box[3])


def _drawn(page: _Pages, svg: str) -> None:
    height = _height_mm(svg, page.scale)
    if page.will_page_break(height):
        page.add_page()
    page.image(BytesIO(svg.encode()), w=_width_mm(_size_px(svg)[0], page.scale), h=height)


def _latin(text: str) -> str:
    """Characters that the PDF's built-in fonts hold."""
    for old, new in OTHERS.items():
        text = text.replace(old, new)
    return text.encode("latin-1", "replace").decode("latin-1")

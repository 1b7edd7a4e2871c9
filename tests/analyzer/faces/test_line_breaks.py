"""No line ends between a number and its unit."""

import re

import pytest

from analyzer.faces.line_breaks import NO_BREAK, tied, tied_page
from analyzer.faces.web.app import create_app


@pytest.mark.parametrize(
    "text",
    [
        "54~%", "0.91~mΩ", "between 11 and 15~nautical~miles", "2~h~40~min", "448~Wh/nmi",
        "16~May~2026 09:11~UTC", "198~days ago", "4 km/h or 4~km", "cell 12 knows 4~kWh",
        "3 Marches, 7 m2",
    ],
)  # fmt: skip
def test_a_number_stays_with_its_unit(text):
    expected = text.replace("4 km/h", "4~km/h").replace("~", NO_BREAK)
    assert tied(text.replace("~", " ")) == expected


def test_what_is_sent_back_stays_as_it_is():
    page = '<p title="5 kn">5 kn</p><textarea>5 kn</textarea><input value="5 kn">'
    assert tied_page(page) == page.replace(">5 kn</p>", f">5{NO_BREAK}kn</p>")


@pytest.mark.parametrize("path", ["/", "/trips", "/trip/2", "/health", "/set-up", "/log"])
def test_no_page_breaks_inside_a_figure(log, browse, path):
    text = browse(create_app(log)).get(path).text
    typed = r"<(style|script|title|option|textarea)\b.*?</\1>"
    shown = re.sub(rf"{typed}|<[^>]*>", "|", text, flags=re.DOTALL)
    assert not re.findall(r"\d (?:%|°C|mΩ|nmi|kn|V|A|W|kW|Wh|kWh|min|h)(?![\w/])", shown)
    assert NO_BREAK in shown

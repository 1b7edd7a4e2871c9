"""What differs by colour stays apart for those who see fewer colours.

Dichromacy after Viénot, Brettel and Mollon, "Digital video colourmaps for checking the legibility
of displays by dichromats", Color Research and Application 24 (1999): matrices on linear sRGB.
Differences are those of CIE 1976 L*a*b* (ISO/CIE 11664-4); 10 is many times what is just seen, 2.3
(Mahy, Van Eycken and Oosterlinck 1994; both from memory).
"""

from itertools import combinations

import numpy as np
import pytest

from analyzer.faces.charts.bokeh_charts import DASHES, LOOKS

pytestmark = pytest.mark.browser

APART = 10.0
SIGHTS = {
    "all colours": np.eye(3),
    # Viénot et al. 1999, their equations for protanopia and deuteranopia in RGB.
    "no red cones": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
    "no green cones": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
    # Grey by luminance (ITU-R BT.709): also what sunlight and a worn screen leave.
    "no colours": [[0.2126, 0.7152, 0.0722]] * 3,
}
# What stands side by side and must be told apart by more than a word.
PAIRS = {
    "the sure stretch, or the charge, and paper": ("--sure", "--paper"),
    "the curve and its band": ("--ink", "--sure"),
    "a warning and paper": ("--warn", "--paper"),
    "its words and a warning": ("--warn-ink", "--warn"),
    "act now and paper": ("--act", "--paper"),
    "a cell out of line and the others": ("--act", "--sure"),
    "best and paper": ("--best", "--paper"),
}


def linear(text):
    shares = np.array([int(text[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """L*, a*, b* of linear sRGB under D65 (IEC 61966-2-1)."""
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    xyz = np.array(to_xyz) @ np.clip(rgb, 0, 1) / [0.9505, 1.0, 1.089]
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def difference(one, other, sight):
    a, b = (lab(np.array(SIGHTS[sight]) @ linear(text)) for text in (one, other))
    return float(np.linalg.norm(a - b))


def test_white_and_black_are_a_hundred_apart_for_everybody():
    for sight in SIGHTS:
        assert difference("#ffffff", "#000000", sight) == pytest.approx(100.0, abs=0.5)


def test_red_and_green_of_one_lightness_meet_for_those_without_green_cones():
    assert difference("#c00000", "#007a00", "all colours") > 100
    assert difference("#b06000", "#808000", "no green cones") < 0.4 * difference(
        "#b06000", "#808000", "all colours"
    )


@pytest.mark.parametrize("look", ["day", "contrast", "night"])
@pytest.mark.parametrize("sight", list(SIGHTS))
def test_fills_stay_apart(phone, site, look, sight):
    phone.goto(f"{site}/look/{look}")
    names = sorted({name for pair in PAIRS.values() for name in pair})
    read = "names => names.map(n => getComputedStyle(document.documentElement).getPropertyValue(n))"
    held = dict(zip(names, phone.evaluate(read, names), strict=True))
    found = {
        what: difference(held[one].strip(), held[other].strip(), sight)
        for what, (one, other) in PAIRS.items()
        if held[one].strip() != held[other].strip()  # alike on purpose: a line or hatch divides
    }
    assert {what: round(d) for what, d in found.items() if d < APART} == {}
    if look == "day":
        assert len(found) == len(PAIRS)


@pytest.mark.parametrize("look", ["day", "contrast", "night"])
@pytest.mark.parametrize("sight", list(SIGHTS))
def test_lines_of_one_chart_differ_by_colour_or_dash(sight, look):
    colours = LOOKS[look].lines
    assert len(colours) == len(DASHES) == 8
    alike = [
        (a, b)
        for (a, dash), (b, other) in combinations(zip(colours, DASHES, strict=True), 2)
        if difference(a, b, sight) < APART and dash == other
    ]
    assert alike == []

"""Tables in the terminal's width: columns line up and never run into each other."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analyzer.faces.cli.base import terminal
from analyzer.faces.cli.text import layout

HEADS = ("Speed", "Goes", "Lasts", "Draws")
ROWS = [
    ("2.0 kn", "18 to 55 nmi", "12 h to 30 h", "161 W"),
    ("3.0 kn", "13 to 31 nmi", "5 h 19 min to 9 h 22 min", "369 W"),
    ("11.0 kn", "0.29 to 0.74 nmi", "4 min", "4.3 kW"),
]


@pytest.mark.parametrize("right", [frozenset(), frozenset({1, 3})])
def test_columns_line_up_and_stand_apart(monkeypatch, right):
    monkeypatch.setenv("COLUMNS", "80")
    lines = layout.table(HEADS, ROWS, right).splitlines()
    cells = [re.split(r" {2,}", line.strip()) for line in lines]
    assert cells == [list(HEADS), *map(list, ROWS)]
    for number in range(len(HEADS)):
        spans = {re.search(re.escape(row[number]), line).span() for row, line in
                 zip(cells, lines, strict=True)}  # fmt: skip
        assert len({span[number in right] for span in spans}) == 1


def test_where_there_is_no_room_a_row_keeps_its_heads(monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    assert layout.table(HEADS, ROWS[1:2]).splitlines() == [
        "  Speed 3.0 kn",
        "    Goes 13 to 31 nmi",
        "    Lasts 5 h 19 min to 9 h 22 min",
        "    Draws 369 W",
    ]


CELL = st.text("abc 0", min_size=1, max_size=30).map(str.strip).filter(bool)


@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=4), st.integers(40, 120))
def test_no_line_is_wider_than_the_terminal(rows, columns):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", str(columns))
        text = layout.table(("a", "b", "c"), rows)
        assert max(map(len, text.splitlines())) <= terminal.width()
        for word in (word for row in rows for cell in row for word in cell.split()):
            assert word in text  # nothing is left out

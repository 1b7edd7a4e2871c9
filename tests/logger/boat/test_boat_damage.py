"""boat.toml damaged at random: every mistake ends in a sentence, none in anything else."""

import os
import string
import tomllib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.boat import Boat, from_table, parse
from logger.errors import BoatFileError
from tests.support.small_boat import GOOD

MORE = 5 if os.environ.get("KEELWATT_FULL") else 1
KEYS = sorted(
    {"hull", "pack", "motor", "cable", "source", "home", "reserve", "options", "name", "size_awg"}
    | {"waterline_m", "waterline_ft", "chemistry", "cells_in_series", "kind", "blocks_in_series"}
    | {"length_m", "partner", "probe", "displacement_kg", "draught_m", "beam_waterline_m"}
)
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=12)
    | st.dates()
    | st.times()
    | st.datetimes()
    | st.sampled_from(["lfp", "fin_keel", "24 ft", 10**400, 16, 3.2, "pack_current_a"])
)
TABLES = st.recursive(
    LEAVES,
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=6), inner, max_size=6)
    ),
    max_leaves=30,
)


def told_of(read: Callable[[], Boat]) -> str:
    """What the user is told; anything but a boat or a BoatFileError escapes and fails the test."""
    try:
        return f"boat.toml: {read().name} is well."
    except BoatFileError as e:
        return str(e)


@settings(max_examples=300 * MORE)
@given(table=st.dictionaries(st.sampled_from(KEYS) | st.text(max_size=6), TABLES, max_size=8))
def test_no_table_makes_anything_but_a_boat_file_error(table: dict[str, Any]):
    for sentence in told_of(lambda: from_table(table, "boat.toml")).split("\n"):
        assert sentence.startswith("boat.toml: ")
        assert sentence.endswith((".", "?"))
        assert "Input should" not in sentence


def every_key() -> list[tuple[str, ...]]:
    """Each key of the boat file with its table."""
    found: list[tuple[str, ...]] = []
    for name, field in Boat.model_fields.items():
        found.append((name,))
        inner = (field.annotation, *getattr(field.annotation, "__args__", ()))
        for part in inner:
            found += [(name, key) for key in getattr(part, "model_fields", {})]
    return found


@pytest.mark.parametrize("place", every_key(), ids=".".join)
@pytest.mark.parametrize("value", ["long", 1e300, -1e300, [], {}, True, None, 10**400])
def test_every_key_tells_what_it_wants_of_a_wrong_value(place: tuple[str, ...], value: object):
    table = tomllib.loads(GOOD)
    *outer, key = place
    inside = table
    for name in outer:
        inside = inside.setdefault(name, {})
        inside = inside[0] if isinstance(inside, list) else inside
    inside[key] = value
    told = told_of(lambda: from_table(table, "boat.toml"))
    assert "Input should" not in told
    assert "None" not in told.replace('"None"', "")


def _numbers() -> st.SearchStrategy[Any]:
    return st.floats(allow_nan=True) | st.integers(-5, 10**6) | st.just(10**400)


@settings(max_examples=300 * MORE)
@given(
    hull=st.lists(_numbers(), min_size=4, max_size=4),
    pack=st.lists(_numbers(), min_size=4, max_size=4),
    motor=st.lists(_numbers(), min_size=3, max_size=3),
)
def test_no_number_makes_anything_but_a_boat_file_error(
    hull: list[Any], pack: list[Any], motor: list[Any]
):
    keys = ("waterline_m", "beam_waterline_m", "draught_m", "displacement_kg")
    cells = ("cells_in_series", "rated_capacity_ah", "nominal_voltage_v", "cell_full_v")
    table = {
        "name": "x",
        "hull": dict(zip(keys, hull, strict=True)),
        "pack": {"chemistry": "lfp", **dict(zip(cells, pack, strict=True))},
        "motor": dict(zip(("rated_power_w", "cutback_v", "shutdown_v"), motor, strict=True)),
    }
    told = told_of(lambda: from_table(table, "boat.toml"))
    assert "Input should" not in told


@settings(max_examples=200 * MORE)
@given(
    start=st.integers(0, len(GOOD)),
    length=st.integers(0, 30),
    put=st.text(string.printable + "é€\x00", max_size=20),
)
def test_no_damage_to_a_good_file_makes_anything_but_a_boat_file_error(
    start: int, length: int, put: str
):
    text = GOOD[:start] + put + GOOD[start + length :]
    assert told_of(lambda: parse(text, "boat.toml")).startswith("boat.toml")


def test_parse_survives_deep_nesting_and_long_integers():
    for text in ("a = " + "[" * 100_000, "flush_s = " + "9" * 5000):
        with pytest.raises(BoatFileError):
            parse(text, "boat.toml")

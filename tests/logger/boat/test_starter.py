"""The boat file to begin with must itself be right."""

import importlib
import re

from logger.boat import Boat, parse
from logger.boat.starter import starter_text
from logger.daemon.source_kinds import KINDS, check_kind
from logger.discover.ports import Device


def uncommented() -> str:
    """The starter with every example made part of it."""
    lines = starter_text().split("\n")
    return "\n".join(re.sub(r"^# (?=\w+ = |\[|\")", "", line) for line in lines)


def test_starter_loads():
    boat = parse(starter_text(), "boat.toml")
    assert isinstance(boat, Boat)
    assert boat.source == ()


def test_starter_loads_with_every_remark_taken_away():
    boat = parse(uncommented(), "boat.toml")
    assert [s.name for s in boat.source] == ["gps", "motor", "board", "shunt"]
    assert boat.home is not None
    assert [t.kind for t in boat.tell] == ["udp"]
    for source in boat.source:
        check_kind(source)


def test_options_of_the_examples_are_known_to_their_sources():
    boat = parse(uncommented(), "boat.toml")
    for source in boat.source:
        module = importlib.import_module(KINDS[source.kind])
        known = getattr(module, "KEYS", None)
        assert known, source.kind
        assert set(source.options) <= set(known), source.kind


def test_starter_names_what_was_found():
    devices = [
        Device("serial", "/dev/ttyACM3", "", "/dev/keelwatt/gps"),
        Device("can", "can7", "up"),
    ]
    text = starter_text(devices)
    assert 'port = "/dev/keelwatt/gps"' in text
    assert 'channel = "can7"' in text
    assert "CAN bus can7, up" in text
    assert parse(text, "boat.toml")


def test_starter_explains_every_part_of_the_boat_file():
    text = starter_text()
    for name, field in Boat.model_fields.items():
        assert re.search(rf"^(# )?\[*{name}\b", text, re.MULTILINE), name
        part = field.annotation
        assert part is not None
    for table in ("hull", "pack", "motor", "cable", "hotel", "solar", "home", "reserve"):
        model = Boat.model_fields[table].annotation
        part = next(
            m for m in (model, *getattr(model, "__args__", ())) if hasattr(m, "model_fields")
        )
        for key in part.model_fields:
            assert re.search(rf"\b{key}\b", text) or key in RARE, key


# Keys that few need; DEVELOPERS.md and the model's own text explain them.
RARE = {
    "prismatic_coefficient",
    "cell_resistance_ohm",
    "tinned",
    "fine_stranded",
    "conductors_in_bundle",
    "limit_c",
    "current_channel",
}

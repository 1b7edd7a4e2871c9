"""The boat file to begin with must itself be right."""

import re

from logger.boat import Boat, parse
from logger.devices import Device
from logger.starter import starter_text


def test_starter_loads():
    boat = parse(starter_text(), "boat.toml")
    assert isinstance(boat, Boat)
    assert boat.source == ()


def test_starter_loads_with_every_remark_taken_away():
    lines = starter_text().split("\n")
    used = [re.sub(r"^# (?=\w+ = |\[|\")", "", line) for line in lines]
    boat = parse("\n".join(used), "boat.toml")
    assert [s.name for s in boat.source] == ["gps", "motor"]
    assert boat.home is not None


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
    "conductors_in_bundle",
    "limit_c",
    "current_channel",
}

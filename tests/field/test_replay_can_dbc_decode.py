"""candump lines in several layouts with their DBC files and decoded text (cantools' tests)."""

import json
import re
from pathlib import Path
from typing import Any

import pytest

from logger.decode.unit_names import channel_name
from logger.reading import Block
from replay.player import open_recordings

pytestmark = pytest.mark.field


def cases(folder: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads((folder / "can_dbc_decode/cases.json").read_text())
    return found


def expected_values(text: str) -> list[dict[str, float]]:
    """Messages in the expected text, as channel -> value."""
    found = []
    for message, body in re.findall(r"(\w+)\(\s*([^)]*)\)", text.split("::", 1)[-1]):
        values = {}
        for name, value in re.findall(r"(\w+): ([^,\s]+)", body):
            number = {"two": 2.0}.get(value)  # the file's name for 2
            values[channel_name(message, name, unit=None)] = (
                float(value) if number is None else number
            )
        found.append(values)
    return found


@pytest.mark.parametrize("number", range(5))
def test_frames_decode_to_the_expected_text(shared_data: Path, tmp_path: Path, number: int):
    case = cases(shared_data)[number]
    path = tmp_path / "frames.log"
    path.write_text("\n".join(case["frames"]) + "\n")
    player = open_recordings([path], dbcs=[shared_data / "can_dbc_decode" / case["dbc"]])
    rows: list[tuple[int, dict[str, float]]] = []
    while (items := player.read()) is not None:
        for item in items:
            if isinstance(item, Block):
                for t_us, values in zip(item.t_us.tolist(), item.values.tolist(), strict=True):
                    rows.append((t_us, dict(zip(item.group.channels, values, strict=True))))
    merged: dict[int, dict[str, float]] = {}
    for t_us, values in rows:
        merged.setdefault(t_us, {}).update(values)
    got = [merged[t_us] for t_us in sorted(merged)]
    text = "\n".join(case["expected"])
    wanted = [v for part in re.split(r"(?m)^(?=[ (]*.*vcan0)", text) for v in expected_values(part)]
    assert sorted(map(str, map(sorted, map(dict.items, got)))) == sorted(
        map(str, map(sorted, map(dict.items, wanted)))
    )


@pytest.mark.parametrize("number", range(5))
def test_frames_that_do_not_fit_are_counted(shared_data: Path, tmp_path: Path, number: int):
    case = cases(shared_data)[number]
    path = tmp_path / "frames.log"
    path.write_text("\n".join(case["frames"]) + "\n")
    player = open_recordings([path], dbcs=[shared_data / "can_dbc_decode" / case["dbc"]])
    while player.read() is not None:
        pass
    text = "\n".join(case["expected"])
    assert player.counters["can"]["length"] == text.count("Wrong data size")
    assert player.counters["can"]["unknown_id"] == text.count("Unknown frame id")
    assert player.counters["frames.log"]["error_frame"] == text.count("ERROR")

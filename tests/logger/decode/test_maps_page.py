"""The reference page of maps: each example does what the page says, Modbus through pymodbus."""

import re
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pymodbus.simulator import DataType, SimData

from logger.channels import find
from logger.decode import column_map, registers
from logger.decode.can import bus
from logger.decode.counters import Counters
from logger.decode.registers import read_register
from logger.reading import Block, Row
from logger.sources.modbus_line import open_source
from logger.sources.options import Options
from logger.units import TO_INSIDE
from replay.player import open_recordings
from tests.logger.sources.test_modbus_line import Line

PAGE = (Path(__file__).parents[3] / "logger/decode/maps.md").read_text()
FENCE = r"```{kind}\n(.*?)```\n"
TABLES = re.findall("".join(FENCE.format(kind=kind) for kind in ("csv", "toml", "")), PAGE, re.S)
# A register map is a block that no table stands before.
REGISTERS = re.findall(
    r"[^`]\n\n" + "".join(FENCE.format(kind=kind) for kind in ("toml", "")), PAGE, re.S
)


def said(text: str) -> dict[str, float]:
    """The channels and values that a line of the page names."""
    pairs = re.findall(r"\b([a-z]\w*_\w+) (-?[\d.]+)", text)
    return {name: float(value) for name, value in pairs if find(name)}


def test_the_page_has_as_many_examples_as_it_should():
    assert (len(TABLES), len(REGISTERS)) == (2, 3)


@pytest.mark.parametrize("number", range(len(TABLES)))
def test_a_table_is_read_as_the_page_says(tmp_path, number):
    table, text, result = TABLES[number]
    (tmp_path / "table.csv").write_text(table)
    (tmp_path / "table.toml").write_text(text)
    source = open_recordings([tmp_path / "table.csv"])
    items = source.read()
    (block,) = [item for item in items if isinstance(item, Block)]
    found = dict(zip(block.group.channels, block.values[0].tolist(), strict=True))
    assert found == pytest.approx(said(result))
    when = re.search(r"at (\S+Z)", result)
    if when:
        offsets = [item.utc_us - item.t_us for item in items if not isinstance(item, Block | Row)]
        first_us = int(block.t_us[0]) + offsets[0]
        assert datetime.fromtimestamp(first_us / 1e6, UTC) == datetime.fromisoformat(when[1])


@pytest.mark.parametrize("number", range(len(REGISTERS)))
def test_registers_are_read_as_the_page_says(monkeypatch, number):
    text, result = REGISTERS[number]
    entry = tomllib.loads(text)
    function, address, words = re.search(
        r"function (\d), registers from (\d+): ([\d ]+)", result
    ).groups()
    assert (entry.get("function", 3), entry["address"]) == (int(function), int(address))
    held = [SimData(int(address), values=list(map(int, words.split())),
                    datatype=DataType.REGISTERS)]  # fmt: skip
    monkeypatch.setattr("tests.logger.sources.test_modbus_line.HOLDING", held)
    line = Line()
    table = {
        "port": line.client_port,
        "parity": "N",
        "register": [{**entry, "device": 7, "period_s": 0.1}],
    }
    source = open_source(Options("charger", table, Path()), Counters("charger"), None)
    found = {}
    for _ in range(4):
        for item in source.read(0.1) or []:
            found |= dict(zip(item.group.channels, item.values, strict=True))
    source.close()
    line.close()
    assert found == pytest.approx(said(result.partition(":")[2]))


def test_no_sensor_is_refused_as_the_page_says():
    entry = tomllib.loads(REGISTERS[2][0])
    register = read_register(Options("charger", entry, Path()))
    assert register.field.high < 32767 * 0.1


def test_every_key_and_unit_stands_on_the_page():
    assert all(f"`{key}`" in PAGE for key in registers.KEYS)
    column_keys = set(re.findall(r'"(\w+)"', re.search(r"extra = set\(entry\) - \{([^}]*)\}",
                      Path(column_map.__file__).read_text())[1]))  # fmt: skip
    assert all(f"`{key}`" in PAGE for key in column_keys)
    listed = re.search(r"^Units, .*?: (.*)\.$", PAGE, re.M)[1].split(", ")
    assert set(listed) <= set(TO_INSIDE)


def test_every_option_of_a_bus_stands_on_the_page():
    table = PAGE.split("## What a CAN bus says")[1].split("\n## ")[0]
    rows = [line.split("|")[1] for line in table.splitlines() if line.startswith("| `")]
    assert sorted(re.findall(r"`(\w+)`", " ".join(rows))) == sorted(bus.KEYS)

"""Thirty mistakes that people make in a boat file, with what each is answered.

    python -m tests.logger.boat.mistakes      prints the table of tests/logger/README.md

Each changes one place of a sound file. The table is compared with the program in
`test_mistakes.py`; it is not the source of what is right, but what a person reads to judge it.
"""

import tempfile
from pathlib import Path

from analyzer.check.boat_findings import findings
from logger import boat
from logger.discover.source_check import look_into
from logger.errors import BoatFileError
from tests.support.small_boat import GOOD

SOURCE = "\n[[source]]\nname = "
# What was written in the place of what.
MISTAKES = (
    ("displacement_kg = 2600", "displacement_kg = 2,600"),
    ("displacement_kg = 2600", "displacement_kg = 2600 kg"),
    ("displacement_kg = 2600", 'displacement_kg = "2600"'),
    ("displacement_kg = 2600", "displacement_kg = 2.6"),
    ("displacement_kg = 2600", "displacment_kg = 2600"),
    ("displacement_kg = 2600", ""),
    ("waterline_m = 7.2", "waterline_m = 24"),
    ("waterline_m = 7.2", "waterline_ft = 24"),
    ("waterline_m = 7.2", "waterline_m = -7.2"),
    ('chemistry = "lfp"', "chemistry = “lfp”"),
    ('chemistry = "lfp"', 'chemistry = "lfp'),
    ('chemistry = "lfp"', "chemistry = lfp"),
    ('chemistry = "lfp"', 'chemistry = "lifepo"'),
    ("cells_in_series = 16", "cells_in_series = 16.5"),
    ("cells_in_series = 16", "cells_in_series = 16\nnominal_voltage_v = 24"),
    ("rated_capacity_ah = 100", "rated_capacity_ah = 11776"),
    ("rated_capacity_ah = 100", "rated_capacity_ah = 100\n[pack]"),
    ("rated_capacity_ah = 100", "rated_capacity_ah = 100\nrated_capacity_ah = 200"),
    ("rated_power_w = 5000", "rated_power_w = 5"),
    ("rated_power_w = 5000", "rated_power_w = 5000\nmeasured = True"),
    ("rated_power_w = 5000", "rated_power_w = 5000\nmeasured = yes"),
    ("size_awg = 2", "size_awg = 1/0"),
    ("size_awg = 2", "size_awg = 2\nsize_mm2 = 35"),
    ('partner = "positive"', 'partner = "positve"'),
    ("length_m = 2\npartner", "length_m = 200\npartner"),
    ('kind = "nmea0183"', 'kind = "nmea183"'),
    ('kind = "nmea0183"', 'kind = "nmea0183"\nbaud = 4800'),
    ('name = "gps"', 'name = "gps"\n[[source]]\nname = "gps"\nkind = "nmea0183"\n'
     '[source.options]\nport = "/dev/ttyUSB1"\n[[source]]\nname = "log"'),
    ('port = "/dev/ttyUSB0"', 'prot = "/dev/ttyUSB0"'),
    ("[motor]", "[moter]"),
)  # fmt: skip


def answer(right: str, wrong: str) -> str:
    """What is said of the file with one place changed."""
    assert right in GOOD
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "boat.toml"
        path.write_text(GOOD.replace(right, wrong, 1))
        try:
            found = boat.load(path)
            ways_in = look_into(path, path.with_name("log.sqlite"))
        except BoatFileError as error:
            said = str(error).replace(f"{folder}/", "")
            return " ".join(said.split())
    known = {finding.text for finding in findings(boat.parse(GOOD, "boat.toml"))}
    doubts = [finding.text for finding in findings(found) if finding.text not in known]
    wrong = [one.text for one in ways_in if one.text.startswith("line ")]
    return " ".join([*wrong, *doubts]) or "nothing"


def table() -> str:
    """The table of tests/logger/README.md."""
    lines = ["| instead of | it says | and is answered |", "|---|---|---|"]
    for right, wrong in MISTAKES:
        cells = (right, wrong or "nothing", answer(right, wrong))
        shown = [cell.replace("\n", " ⏎ ").replace("|", "\\|") for cell in cells]
        lines.append(f"| `{shown[0]}` | `{shown[1]}` | {shown[2].removeprefix('boat.toml: ')} |")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(table(), end="")

"""boat.toml: what is accepted, and the sentence each mistake gets.

The expected sentences are the promise of the boat file itself (key, what it wants, what it got);
converted values are hand sums from the exact definitions: 1 ft = 0.3048 m, 1 lb = 0.45359237 kg,
1 hp = 550 ft lbf/s = 745.7 W, 1 kn = 1852/3600 m/s (SI brochure; yard and pound agreement, 1959).
"""

import os
import re
from pathlib import Path

import pytest

from logger.boat import load, parse
from logger.boat.errors import lines_of
from logger.errors import BoatFileError
from tests.support.small_boat import GOOD

MORE = 5 if os.environ.get("KEELWATT_FULL") else 1


def complaints(text: str) -> list[str]:
    with pytest.raises(BoatFileError) as caught:
        parse(text, "boat.toml")
    return str(caught.value).split("\n")


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) >= 1
    return GOOD.replace(old, new, 1)


def test_parse_reads_every_part():
    boat = parse(GOOD, "boat.toml")
    assert boat.hull.waterline_m == 7.2
    assert boat.pack.cells_in_series == 16
    assert [c.name for c in boat.cable] == ["positive", "negative"]
    assert boat.cable[1].size_awg == "2"
    assert boat.source[0].options == {"port": "/dev/ttyUSB0"}
    assert boat.reserve.soc_frac == 0.2


def test_load_remembers_the_folder_and_takes_a_byte_order_mark(tmp_path: Path):
    path = tmp_path / "boat.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load(path).folder == tmp_path


@pytest.mark.parametrize(
    ("size", "awg"), [('"00"', "2/0"), ('"2/0"', "2/0"), ('"0"', "1/0"), ("0", "1/0"), ("10", "10")]
)
def test_size_awg_has_one_form(size: str, awg: str):
    # ASTM B258 names: 0, 00, 000, 0000 are 1/0 to 4/0
    assert parse(changed("size_awg = 2", f"size_awg = {size}"), "b").cable[1].size_awg == awg


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            "waterline_m = 7.2",
            "waterline_ft = 24",
            "boat.toml, line 5: hull.waterline_ft: not a key here; keelwatt wants "
            "hull.waterline_m in metres; 24 ft is 7.315 m.",
        ),
        (
            "draught_m = 1.3",
            "draft_ft = 4",
            "boat.toml, line 7: hull.draft_ft: not a key here; keelwatt wants hull.draught_m in "
            "metres; 4 ft is 1.219 m.",
        ),
        (
            "displacement_kg = 2600",
            "displacement_lb = 5732",
            "boat.toml, line 8: hull.displacement_lb: not a key here; keelwatt wants "
            "hull.displacement_kg in kilograms; 5732 lb is 2600 kg.",
        ),
        (
            "rated_power_w = 5000",
            "rated_power_hp = 7",
            "boat.toml, line 16: motor.rated_power_hp: not a key here; keelwatt wants "
            "motor.rated_power_w in watts; 7 hp is 5220 W.",
        ),
        (
            "displacement_kg = 2600",
            "displacement_kg = 2.6",
            "boat.toml, line 8: hull.displacement_kg wants a number of kilograms between 50 and "
            "200000; got 2.6; 2.6 t is 2600 kg, if that was meant.",
        ),
        (
            "waterline_m = 7.2",
            'waterline_m = "24 ft"',
            "boat.toml, line 5: hull.waterline_m wants a number of metres between 2 and 40; got "
            '"24 ft"; 24 ft is 7.315 m.',
        ),
        (
            "waterline_m = 7.2",
            "waterline_m = true",
            "boat.toml, line 5: hull.waterline_m wants a number of metres between 2 and 40; got "
            "true.",
        ),
        (
            "waterline_m = 7.2",
            "waterline_m = nan",
            "boat.toml, line 5: hull.waterline_m wants a number of metres between 2 and 40; got "
            "nan.",
        ),
        (
            "cells_in_series = 16",
            "cells_in_series = 16.0",
            "boat.toml, line 12: pack.cells_in_series wants a whole number from 1 to 200; got "
            "16.0.",
        ),
        (
            '"lfp"',
            '"LiFePO4"',
            'boat.toml, line 11: pack.chemistry wants one of "lfp", "nmc", "lead_acid", '
            '"agm", "gel"; got "LiFePO4"; did you mean "lfp"?',
        ),
        (
            "rated_capacity_ah = 100",
            "",
            "boat.toml, line 10: pack.rated_capacity_ah is missing; wants a number of "
            "ampere-hours between 0 and 20000.",
        ),
        (
            "[pack]",
            "[battery]",
            "boat.toml, line 10: battery: not a key here; keelwatt wants [pack].",
        ),
        (
            "length_m = 2",
            "lenght_m = 2",
            'boat.toml, line 21: cable "positive": lenght_m: not a key here; keelwatt wants cable '
            '"positive": length_m in metres.',
        ),
        (
            "rated_power_w = 5000",
            "rated_power_w = 5000\nlog_path = 'x'",
            "boat.toml, line 17: motor.log_path: not a key here; it belongs above the first "
            "[table].",
        ),
        (
            'name = "Test boat"',
            "",
            "boat.toml: name is missing; wants words in quotes, at most 200 letters.",
        ),
    ],
)
def test_parse_says_key_wanted_and_got(old: str, new: str, sentence: str):
    assert complaints(changed(old, new)) == [sentence]


def test_parse_of_a_single_bracket_cable_asks_for_two():
    text = GOOD.split("[[cable]]")[0] + '[cable]\nname = "a"\nsize_mm2 = 35\nlength_m = 2\n'
    assert complaints(text) == [
        "boat.toml, line 18: [[cable]] wants entries that each begin with [[cable]], in double "
        "brackets; got a table."
    ]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        # 7.2 m x 2.3 m x 1.3 m x 1030 kg/m3 = 22 174 kg
        ("displacement_kg = 2600", "displacement_kg = 30000", ["22174", "30000", "pounds"]),
        # 24 m over the cube root of (400 / 1025) m3 = 24 / 0.7307 = 32.8
        ("waterline_m = 7.2\n", "waterline_m = 24\n", []),
        ("beam_waterline_m = 2.3", "beam_waterline_m = 8.1", ["swapped", "7.2", "8.1"]),
        ("draught_m = 1.3", "draught_m = 1.3\nbody_draught_m = 1.4", ["body_draught_m", "1.4"]),
        ("[motor]", "cell_full_v = 3.4\ncell_cutoff_v = 3.4\n[motor]", ["cell_cutoff_v", "3.4"]),
        ("[motor]", "cell_full_v = 14.6\n[motor]", ["pack.cell_full_v", "14.6"]),
        # 48 V / 3.45 V = 13.9 and 48 V / 2.95 V = 16.3: 14 to 16 cells
        ("cells_in_series = 16", "cells_in_series = 24\nnominal_voltage_v = 48", ["14 to 16"]),
        ("[motor]", "blocks_in_series = 5\n[motor]", ["multiple", "16 cells in 5 blocks"]),
        # 11776 Ah x 51.2 V / 210 Wh/kg = 2871 kg; 11776 Wh / 51.2 V = 230 Ah
        ("rated_capacity_ah = 100", "rated_capacity_ah = 11776", ["2871 kg", "are 230 Ah"]),
        # 5537 Ah x 51.2 V / 210 Wh/kg = 1350 kg, more than half of 2600 kg
        ("rated_capacity_ah = 100", "rated_capacity_ah = 5537", ["1350 kg", "2600 kg"]),
        # 16 x 3.8 V = 60.8 V
        ("rated_power_w = 5000", "rated_power_w = 5000\nshutdown_v = 72", ["60.8", "72"]),
        (
            "rated_power_w = 5000",
            "rated_power_w = 5000\nshutdown_v = 46\ncutback_v = 44",
            ["shutdown_v", "cutback_v", "44", "46"],
        ),
        ('partner = "positive"', 'partner = "positiv"', ['"negative"', 'did you mean "positive"?']),
        ('partner = "positive"', 'partner = "negative"', ["another [[cable]]"]),
        ('name = "negative"', 'name = "positive"', ["different name", "2 times"]),
        ("size_awg = 2", "size_awg = 2\nsize_mm2 = 35", ["exactly one", "both"]),
        ("size_awg = 2", "", ["exactly one", "neither"]),
        ("size_mm2 = 35", "size_mm2 = 35\nlimit_c = 120", ["limit_c", "90", "120"]),
        (
            "size_mm2 = 35",
            'size_mm2 = 35\ncurrent_channel = "pack_curent_a"',
            ['did you mean "pack_current_a"?'],
        ),
        (
            "size_mm2 = 35",
            'size_mm2 = 35\ncurrent_channel = "pack_voltage_v"',
            ["channel in amperes", "pack_voltage_v"],
        ),
        (
            "[[source]]",
            '[[source]]\nname = "gps"\nkind = "can"\n[[source]]',
            ["different name", '"gps" 2 times'],
        ),
    ],
)
def test_parse_refuses_what_cannot_be(old: str, new: str, words: list[str]):
    text = changed(old, new)
    if "waterline_m = 24" in new:
        text = text.replace("displacement_kg = 2600", "displacement_kg = 400")
        words = ["32.8", "400 kg", "24 m"]
    told = complaints(text)
    assert any(all(w in sentence for w in words) for sentence in told), told


def test_probes_of_two_cables_may_not_share_a_name():
    text = GOOD.replace("length_m = 2", 'length_m = 2\nprobe = "lug"')
    assert complaints(text) == [
        'boat.toml: cable: wants a different probe for each [[cable]]; got "lug" 2 times.'
    ]


def test_parse_tells_every_mistake_in_the_order_of_the_file():
    text = changed("waterline_m = 7.2", "waterline_ft = 24")
    text = text.replace("rated_power_w = 5000", "rated_power_kw = 5").replace(
        "size_mm2", "size_mm3"
    )
    told = complaints(text)
    assert [re.search(r"line (\d+)", s)[1] for s in told] == ["5", "16", "20"]
    assert "5 kW is 5000 W" in told[1]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("waterline_m = 7,2", ["line 5", "decimals want a point"]),
        ("waterline_m = 7.2 m", ["line 5", "a number stands alone"]),
        ("waterline_m = long", ["line 5", "words want quotes"]),
        ("waterline_m: 7.2", ["line 5", "key = value"]),
        ("waterline_m = ", ["line 5"]),
        ('waterline_m = "7', ["line 5", "missing at the end"]),
        ("waterline_m = 7,200", ["line 5", "thousands want no comma"]),
        ("water = True", ["line 5", "true or false"]),
        ("water = yes  # salt", ["line 5", "true or false"]),
        ("kind = “fin_keel”", ["line 5", "straight kind"]),
        ("size_awg = 1/0", ["line 5", '"1/0"']),
    ],
)
def test_parse_of_bad_toml_names_line_and_column(line: str, words: list[str]):
    (sentence,) = complaints(changed("waterline_m = 7.2", line))
    assert re.match(r"boat\.toml, line \d+, column \d+: cannot be read as TOML: ", sentence)
    assert all(w in sentence for w in words), sentence


@pytest.mark.parametrize("twice", ["[pack]", "[hull]"])
def test_what_stands_twice_is_named_with_both_places(twice: str):
    first = GOOD.splitlines().index(twice) + 1
    (sentence,) = complaints(f"{GOOD}\n{twice}\n")
    last = GOOD.count("\n") + 2
    assert sentence.startswith(f"boat.toml, line {last}: {twice} stands here a second time")
    assert f"first in line {first}" in sentence


def test_load_of_no_file_a_folder_and_another_encoding(tmp_path: Path):
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b'name = "M\xf6we"')
    for path, words in [
        (tmp_path / "none.toml", "there is no boat file here"),
        (tmp_path, "cannot be read"),
        (latin, "UTF-8; got byte 0xf6"),
    ]:
        with pytest.raises(BoatFileError, match=words):
            load(path)


def test_lines_of_finds_tables_entries_and_keys():
    lines = lines_of(GOOD)
    assert lines["hull", "beam_waterline_m"] == 6
    assert lines["cable", 1, "size_awg"] == 25
    assert lines["source", 0, "options", "port"] == 33

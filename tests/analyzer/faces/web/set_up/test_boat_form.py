"""The boat file as a form and back: remarks stay, values change, wrong ones are named."""

import tomllib
from pathlib import Path

import pytest
import tomlkit

import replay
from analyzer.faces.web.set_up import boat_form, source_form
from logger import boat
from logger.boat.starter import starter_text
from logger.daemon import source_kinds
from logger.errors import BoatFileError


@pytest.fixture
def text(invented):
    return invented.InventedLog.boat_toml


def fields(text):
    return {f.name: f for section in boat_form.sections(text) for f in section.fields}


def as_form(text):
    """What a browser sends when nothing is touched."""
    return {name: f.value for name, f in fields(text).items()} | {
        boat_form.REST: boat_form.rest(text)
    }


@pytest.mark.parametrize("which", ["invented", "starter"])
def test_an_untouched_form_changes_nothing(text, which):
    text = text if which == "invented" else starter_text()
    assert boat_form.filled(text, as_form(text)) == text


def test_every_key_of_the_boat_file_is_in_the_form(text):
    names = set(fields(text))
    for part in ("hull", "pack", "motor", "hotel", "solar", "home", "reserve"):
        shape = boat.Boat.model_fields[part].annotation
        model = getattr(boat, part.capitalize())
        assert {f"{part}.{key}" for key in model.model_fields} <= names, shape
    assert {f"cable.0.{key}" for key in boat.Cable.model_fields} <= names
    assert {"name", "log_path", "flush_s"} <= names


def test_fields_say_unit_and_help_and_which_must_be_there(text):
    waterline = fields(text)["hull.waterline_m"]
    assert (waterline.label, waterline.unit) == ("Waterline", "metres")
    assert waterline.help == "length on the waterline"  # the remark in the file to begin with
    assert waterline.wanted
    assert waterline.value == "8.1"
    assert not fields(text)["pack.cell_cutoff_v"].wanted
    assert "lfp" in fields(text)["pack.chemistry"].choices
    assert not fields(text)["home.latitude_deg"].wanted


def test_a_change_keeps_remarks_and_the_rest(text):
    new = boat_form.filled(text, as_form(text) | {"hull.waterline_m": "8,35"})
    assert new == text.replace("waterline_m = 8.1\n", "waterline_m = 8.35\n", 1)
    assert boat.parse(new, "boat.toml").hull.waterline_m == 8.35


def test_emptied_fields_are_taken_out_and_new_parts_put_in(text):
    form = as_form(text) | {
        "pack.cell_cutoff_v": "2.6",
        "home.latitude_deg": "46",
        "home.longitude_deg": "-23.9",
        "hotel.measured_in_pack_current": "false",
    }
    once = boat_form.filled(text, form)
    read = boat.parse(once, "boat.toml")
    assert read.pack.cell_cutoff_v == 2.6
    assert read.home.longitude_deg == -23.9
    assert read.hotel.measured_in_pack_current is False
    back = as_form(once) | {name: "" for name in as_form(once) if name.startswith("home.")}
    assert "home" not in tomllib.loads(boat_form.filled(once, back))


def test_cables_are_added_and_taken_out(text):
    new = boat_form.filled(
        text,
        as_form(text)
        | {"cable.new.name": "negative", "cable.new.size_awg": "1/0", "cable.new.length_m": "1.4"},
    )
    assert [c.name for c in boat.parse(new, "boat.toml").cable] == ["positive", "negative"]
    left = boat_form.filled(new, as_form(new) | {"cable.0.remove": "yes"})
    assert [c.name for c in boat.parse(left, "boat.toml").cable] == ["negative"]


def test_a_way_in_is_changed_field_by_field(text):
    new = boat_form.filled(
        text, as_form(text) | {"source.0.port": "/dev/ttyS1", "source.0.baud": "38400"}
    )
    (source,) = boat.parse(new, "boat.toml").source
    assert source.options == {"port": "/dev/ttyS1", "baud": 38400}
    assert "# invented" in new
    none = boat_form.filled(text, as_form(text) | {"source.0.remove": "yes"})
    assert boat.parse(none, "boat.toml").source == ()


def test_a_way_in_is_added_with_what_is_in_it(text):
    more = '[signals]\n"Pack.Volts" = {channel = "pack_voltage_v"}\n'
    form = {
        "source.new.name": "bus",
        "source.new.kind": "can",
        "source.new.channel": "can0",
        "source.new.bitrate": "250000",
        "source.new.more": more.replace("\n", "\r\n"),  # as browsers send it
    }
    new = boat_form.filled(text, as_form(text) | form)
    added = boat.parse(new, "boat.toml").source[1]
    assert (added.name, added.kind) == ("bus", "can")
    assert added.options == {
        "interface": "socketcan",
        "channel": "can0",
        "bitrate": 250000,
        "signals": {"Pack.Volts": {"channel": "pack_voltage_v"}},
    }
    assert fields(new)["source.1.more"].value == tomlkit.dumps(
        {"signals": {"Pack.Volts": {"channel": "pack_voltage_v"}}}
    )
    assert boat_form.filled(new, as_form(new)) == new
    bare = boat_form.filled(new, as_form(new) | {"source.1.more": ""})
    assert "signals" not in boat.parse(bare, "boat.toml").source[1].options


def test_the_demos_own_boat_file_stays_as_it_is():
    text = (Path(replay.__file__).parent / "demo" / "boat.toml").read_text("utf-8")
    assert boat_form.filled(text, as_form(text)) == text


def test_every_kind_of_source_has_its_fields():
    assert set(source_form.KINDS) == set(source_form.PLAIN) == set(source_kinds.KINDS)


def test_ways_out_are_edited_as_they_stand_in_the_file(text):
    given = '[[tell]]\nkind = "udp"\nhost = "10.0.0.9"\n'
    new = boat_form.filled(text, as_form(text) | {boat_form.REST: given})
    assert boat.parse(new, "boat.toml").tell[0].host == "10.0.0.9"
    assert boat_form.rest(new) == given


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"hull.waterline_m": "long"}, "waterline_m"),
        ({"hull.waterline_m": ""}, "waterline_m"),
        ({"pack.cells_in_series": "8.5"}, "cells_in_series"),
        ({"pack.chemistry": "steam"}, "chemistry"),
        ({"cable.new.length_m": "2"}, "cable"),
    ],
)
def test_what_is_wrong_is_said_by_the_files_own_sentences(text, change, says):
    with pytest.raises(BoatFileError, match=says):
        boat.parse(boat_form.filled(text, as_form(text) | change), "boat.toml")


@pytest.mark.parametrize(
    ("name", "given"),
    [
        (boat_form.REST, "[[tell]\nname"),
        (boat_form.REST, "[hull]\nwaterline_m = 3\n"),
        ("source.0.more", "signals = {"),
    ],
)
def test_what_is_no_toml_or_of_another_part_is_refused(text, name, given):
    with pytest.raises(BoatFileError):
        boat_form.filled(text, as_form(text) | {name: given})


def test_a_form_to_begin_with_makes_a_boat_file():
    form = {
        "name": "My boat",
        "hull.waterline_m": "8",
        "hull.beam_waterline_m": "2.4",
        "hull.draught_m": "1.4",
        "hull.displacement_kg": "4000",
        "pack.chemistry": "lfp",
        "pack.cells_in_series": "16",
        "pack.rated_capacity_ah": "200",
        "motor.rated_power_w": "5000",
    }
    assert boat.parse(boat_form.filled("", form), "boat.toml").pack.cells_in_series == 16


def test_text_of_any_kind_comes_back_as_text(text):
    odd = 'Nut"s <b> \\ ü'
    new = boat_form.filled(text, as_form(text) | {"name": odd})
    assert boat.parse(new, "boat.toml").name == odd

from pytest import mark

from logger import channels, units


@mark.parametrize("channel", channels.CATALOGUE.values(), ids=lambda c: c.name)
def test_every_channel_ends_in_its_unit_and_has_limits(channel):
    assert channels.unit_of(channel.name) == channel.unit
    assert channel.low < channel.high
    assert channel.unit in {inside for inside, _, _ in units.TO_INSIDE.values()}


@mark.parametrize(
    ("name", "unit"),
    [
        (channels.cell_voltage(3), "V"),
        (channels.block_voltage(2), "V"),
        (channels.probe_temp("motor_lug"), "degC"),
        ("other_solar_charger_state_code", "count"),
    ],
)
def test_families_are_found(name, unit):
    found = channels.find(name)
    assert found is not None
    assert found.unit == unit


def test_unknown_names_are_not_channels():
    assert channels.find("pack_volts") is None
    assert channels.find("cell_3_voltage_v") is None  # cells have two digits


@mark.parametrize(
    ("name", "text"),
    [
        ("cell_03_voltage_v", "cell 3 voltage"),
        ("probe_motor_lug_temp_c", "probe motor lug temperature"),
        ("pack_voltage_v", "voltage at the pack's terminals"),
    ],
)
def test_each_of_many_alike_has_words_of_its_own(name, text):
    assert channels.find(name).text == text

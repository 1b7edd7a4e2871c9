"""What a paired phone may not write into the boat file."""

import pytest

from analyzer.faces.web.set_up.from_network import check_change
from logger.errors import BoatFileError

OLD = """
name = "Test boat"
[[tell]]
kind = "command"
command = ["/usr/bin/horn", "-l"]
[[source]]
name = "can"
kind = "can"
options = { channel = "can0", message = [{ dbc = "/srv/dbc/motor.dbc" }] }
"""


@pytest.mark.parametrize(
    ("added", "said"),
    [
        ('[[tell]]\nkind = "command"\ncommand = ["/bin/sh", "-c", "id"]', "by its owner"),
        ('[[tell]]\nkind = "command"\ncommand = ["/usr/bin/horn", "-x"]', "by its owner"),
        ('[[source]]\noptions = { port = "spy:///dev/null?file=/etc/x" }', "no address"),
        ('[[source]]\noptions = { port = "/etc/keys/id" }', "wants a device"),
        ('[[source]]\noptions = { port = "/dev/../etc/passwd" }', "wants a device"),
        ('[[source]]\noptions = { interface = "slcan", channel = "/etc/passwd" }', "a device"),
        ('[[source]]\noptions = { message = [{ dbc = "/etc/passwd" }] }', "boat file's folder"),
        ('[[source]]\noptions = { device = [{ eds = "../../key.eds" }] }', "boat file's folder"),
        ('[[source]]\noptions = { root = "/proc" }', "boat file's folder"),
    ],
)
def test_commands_addresses_and_strange_files_are_refused(added: str, said: str):
    with pytest.raises(BoatFileError, match=said):
        check_change(OLD, OLD + added)


@pytest.mark.parametrize(
    "added",
    [
        "",
        '[[tell]]\nkind = "udp"\nhost = "192.168.4.255"',
        '[[source]]\noptions = { port = "/dev/serial/by-id/usb-gps", baud = 4800 }',
        '[[source]]\noptions = { tcp = "192.168.4.1:10110" }',
        '[[source]]\noptions = { channel = "can1" }',
        '[[source]]\noptions = { message = [{ dbc = "battery.dbc" }] }',
    ],
)
def test_what_a_set_up_wants_may_be_written_and_what_stands_may_stay(added: str):
    check_change(OLD, OLD + added)
    check_change(OLD, OLD.replace("Test boat", "Another") + added)


def test_a_command_may_be_taken_out():
    check_change(OLD, OLD.replace('[[tell]]\nkind = "command"\n', "").replace("command = ", "x = "))

"""What a computer tells of itself, on make-believe ones laid out as the kernel's documents say."""

import os

import pytest

from logger.computer import look, sticks


@pytest.fixture
def put(tmp_path):
    """Writes a file of a make-believe system."""

    def write(path, text):
        file = tmp_path / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)

    return write


def test_a_computer_that_tells_nothing(tmp_path):
    found = look(tmp_path, tmp_path)
    assert (found.supply_low, found.processor_temp_c, found.card_used_frac) == (None, None, None)
    assert (found.faults, found.model, found.system) == (None, "", "")
    assert 0 < found.room_bytes < found.size_bytes


@pytest.mark.parametrize(("alarm", "low"), [("0\n", False), ("1\n", True)])
def test_a_low_supply_is_an_alarm_of_its_sensor(tmp_path, put, alarm, low):
    put("sys/class/hwmon/hwmon1/in0_lcrit_alarm", alarm)  # Documentation/hwmon/sysfs-interface
    assert look(tmp_path, tmp_path).supply_low is low


def test_the_warmest_place_counts(tmp_path, put):
    put("sys/class/thermal/thermal_zone0/temp", "48312\n")  # thousandths of a degree
    put("sys/class/thermal/thermal_zone1/temp", "61500\n")
    assert look(tmp_path, tmp_path).processor_temp_c == 61.5


@pytest.mark.parametrize(
    ("text", "used"),
    # JEDEC eMMC 5.1: 0x01 is 0 to 10 % of life used, 0x0A 90 to 100 %, 0x0B beyond; 0 not told
    [("0x01 0x01\n", 0.1), ("0x02 0x0A\n", 1.0), ("0x0B 0x01\n", 1.1), ("0x00 0x00\n", None)],
)
def test_a_card_tells_its_wear_in_tenths(tmp_path, put, text, used):
    put("sys/block/mmcblk0/device/life_time", text)
    assert look(tmp_path, tmp_path).card_used_frac == used


def test_faults_of_the_log_s_own_file_system(tmp_path, put):
    device = os.stat(tmp_path).st_dev
    place = tmp_path / "sys/devices/card/mmcblk0p3"
    place.mkdir(parents=True)
    link = tmp_path / f"sys/dev/block/{os.major(device)}:{os.minor(device)}"
    link.parent.mkdir(parents=True)
    link.symlink_to(place)
    put("sys/fs/ext4/mmcblk0p3/errors_count", "3\n")
    put("sys/fs/ext4/other/errors_count", "0\n")
    assert look(tmp_path, tmp_path).faults == 3


def test_names(tmp_path, put):
    put("sys/firmware/devicetree/base/model", "A Board, revision 1\0")
    put("etc/os-release", 'NAME="Debian"\nPRETTY_NAME="Debian GNU/Linux 12 (bookworm)"\n')
    found = look(tmp_path, tmp_path)
    assert found.model == "A Board, revision 1"
    assert found.system == "Debian GNU/Linux 12 (bookworm)"


def test_sticks_are_what_is_plugged_in_over_usb(tmp_path):
    # as /sys lays it out: a disk with a partition, a whole one without, a card that is no stick
    for name, place in (
        ("sda", "usb1/1-1/block/sda"),
        ("sda1", "usb1/1-1/block/sda/sda1"),
        ("sdb", "usb1/1-2/block/sdb"),
        ("sdc", "ata1/block/sdc"),
        ("mmcblk0p1", "mmc0/block/mmcblk0/mmcblk0p1"),
    ):
        folder = tmp_path / "sys/devices" / place
        folder.mkdir(parents=True)
        if name == "sda1":
            (folder / "partition").write_text("1\n")
        link = tmp_path / "sys/class/block" / name
        link.parent.mkdir(parents=True, exist_ok=True)
        link.symlink_to(folder)
    assert sticks(tmp_path) == ("sda1", "sdb")

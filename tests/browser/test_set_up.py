"""From nothing to a boat file, on a phone, by thumb: the taps are counted."""

import time
from dataclasses import replace

import pytest

from analyzer.answers import Log
from analyzer.faces.web.app import create_app
from analyzer.faces.web.set_up.plugged import Board, Plug
from logger import boat
from logger.discover.trials import Trials
from tests.support.ports import speaking_port

pytestmark = pytest.mark.browser

PORT = "/dev/serial/by-id/usb-invented-gps"
GPS = Plug("serial", "/dev/ttyUSB0", PORT, "serial port /dev/ttyUSB0", "")
SHUNT = "serial port /dev/ttyUSB1"
LINES = b"V\t53100\r\nI\t-12300\r\n"
HEARD = "serial port /dev/ttyUSB0: NMEA 0183 at 38400 bit/s, GPS"


@pytest.fixture
def empty(serve, tmp_path):
    """A board with nothing: no boat file, no log; a GPS and a shunt are plugged in."""
    file = tmp_path / "config" / "boat.toml"
    trials = Trials(file.parent, 0.4)
    with speaking_port(LINES) as (port, _):

        def plugged_in(listen=False):
            shunt = Plug("serial", "/dev/ttyUSB1", port, SHUNT)
            return (replace(GPS, heard=HEARD) if listen else GPS, shunt)

        log = Log(tmp_path / "log.sqlite", file)
        with serve(create_app(log, board=Board(plugs=plugged_in, trials=trials))) as served:
            yield served.url, file


@pytest.fixture
def phone(chromium):
    """A phone; that a refused page is one is no fault of it."""
    context = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    yield context.new_page()
    context.close()


def test_a_boat_with_a_gps_and_a_shunt_is_set_up_by_thumb(empty, phone):
    url, file = empty
    taps, began = 0, time.monotonic()

    def tap(name):
        nonlocal taps
        phone.get_by_role("button", name=name, exact=True).click()
        taps += 1

    def write(label, value):
        nonlocal taps
        phone.get_by_label(label, exact=True).fill(value)
        taps += 1

    phone.goto(url)
    assert "A boat to be set up" in phone.locator("h1").inner_text()
    phone.locator("a.start").click()
    write("Its name", "Heron")
    write("Length on the waterline", "26")
    phone.get_by_label("Length on the waterline: unit").select_option("feet")
    write("Greatest breadth on the waterline", "2.4")
    write("Draught, with keel", "1.2")
    write("Weight as it floats", "3.1")
    tap("Go on")
    write("Cells in series", "16")
    write("Ampere-hours", "200")
    tap("Go on")
    write("Its power", "-4")
    tap("Go on")
    field = phone.get_by_label("Its power", exact=True)
    assert field.get_attribute("aria-invalid") == "true"
    assert field.input_value() == "-4"  # kept
    write("Its power", "4")
    tap("Go on")
    tap("Leave this out")
    write("Its place", "46 16.89 N, 23 52.44 W")
    tap("Go on")
    tap("Listen to each for some seconds")
    assert phone.get_by_label(HEARD).input_value() == "nmea:38400"
    phone.get_by_label(SHUNT).select_option("text:19200")
    tap("Listen to each for some seconds")
    phone.get_by_label("Battery voltage").select_option("V|mV")
    phone.get_by_label("Battery current", exact=True).select_option("I|mA")
    phone.get_by_label("Battery current counts up").select_option("yes")
    tap("Listen to each for some seconds")
    now = phone.locator(".proof").inner_text().replace("\xa0", " ")
    assert "53.1 V" in now
    assert "12.3 A" in now
    assert "-12.3" not in now
    taps += 4
    tap("Go on")
    text = phone.locator("main").inner_text()
    assert "Cannot yet" in text
    assert phone.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    tap("Save the boat, and start recording")
    assert phone.locator("h1").inner_text() == "First test, tied to the berth"
    assert "Not recording yet" in phone.locator("#arrives").inner_text()
    print(f"\nset up in {taps + 3} taps, {time.monotonic() - began:.0f} s by machine")
    made = boat.parse(file.read_text(), "boat.toml")
    assert made.name == "Heron"
    assert made.hull.waterline_m == pytest.approx(7.9248)  # 26 x 0.3048
    assert made.hull.displacement_kg == 3100
    assert made.motor.rated_power_w == 4000
    assert made.home.latitude_deg == pytest.approx(46.2815)
    assert made.cable == ()
    assert [(source.name, source.kind) for source in made.source] == [
        ("gps", "nmea0183"),
        ("battery", "text"),
    ]
    assert made.source[0].options == {"port": PORT, "baud": 38400}
    signals = made.source[1].options["signals"].values()
    assert list(signals) == [
        {"channel": "pack_voltage_v", "unit": "mV"},
        {"channel": "pack_current_a", "unit": "mA", "sign": -1},
    ]
    assert taps <= 36


def test_going_back_keeps_what_was_written(empty, phone):
    url, _ = empty
    phone.goto(f"{url}/set-up/guide")
    phone.get_by_label("Its name", exact=True).fill("Heron")
    phone.get_by_label("Length on the waterline", exact=True).fill("8")
    phone.get_by_role("button", name="Go on", exact=True).click()
    assert "wants a number" in phone.locator("[role=alert]").inner_text()
    for label in ("Greatest breadth on the waterline", "Draught, with keel", "Weight as it floats"):
        phone.get_by_label(label, exact=True).fill("2")
    phone.get_by_role("button", name="Go on", exact=True).click()
    assert phone.locator("h1").inner_text() == "What battery?"
    phone.get_by_role("button", name="Back", exact=True).click()
    assert phone.get_by_label("Its name", exact=True).input_value() == "Heron"
    assert phone.get_by_label("Length on the waterline", exact=True).input_value() == "8"


LINES_BESIDE = """() => [...document.querySelectorAll("label > [type=checkbox]")].map((tick) => {
  const label = tick.parentElement, box = tick.getBoundingClientRect();
  const range = document.createRange();
  range.selectNodeContents(label.lastChild);
  return [...range.getClientRects()].filter((r) => r.width > 1).every((r) => r.left >= box.right);
})"""


@pytest.mark.parametrize("width", [390, 1280])
def test_words_of_a_box_to_tick_stand_beside_it_on_every_line(empty, chromium, width):
    page = chromium.new_page(viewport={"width": width, "height": 844})
    page.goto(f"{empty[0]}/set-up/status")
    assert page.evaluate(LINES_BESIDE) == [True, True]
    page.close()

"""The ready card (deploy/image.sh), as it comes: what it does from its first start on.

Nothing is added to the image. The tests' hand on the board is told to its system by the firmware
(SMBIOS), as the manuals of systemd and systemd-boot say: another unit, for this start alone.
"""

import base64
import http.client
import random
import re
import socket
import time
import urllib.parse
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import boat
from bench import Bench
from feeds import DEMO, write_bus_recording
from image import HERE
from machine import BoardError, Machine

CARD_BYTES = 2 * 2**30  # a small card; the image is smaller
AGENT = """[Unit]
Description=the tests' hand on the board
DefaultDependencies=no
After=sysinit.target dbus.socket
[Service]
ExecStart=/usr/bin/python3 -u -c "import base64; exec(base64.b64decode('{program}'))"
Restart=always
RestartSec=1
"""
UNITS = ("keelwatt-record", "keelwatt-serve", "keelwatt-errand.socket", "avahi-daemon")
# Who may listen: the pages; the name's answers; the Wi-Fi's own addresses and names; DHCP's client.
MAY_LISTEN = {
    "tcp": {"8765": "keelwatt", "53": "dnsmasq"},
    "udp": {"5353": "avahi-daemon", "53": "dnsmasq", "67": "dnsmasq", "68": "NetworkManager"},
}
HOST = "10.0.2.15:8765"  # the emulator's own network gives this address
WRITES_MIN = 5.0
HOUR_S = 3600.0
MOST_MB_PER_HOUR = 60.0  # issue's goal for the whole system at a second's commits


def hand() -> tuple[str, ...]:
    """What the firmware tells: the agent, and that it is to be started."""
    program = base64.b64encode((HERE / "inside/agent.py").read_bytes()).decode()
    unit = AGENT.format(program=program)
    wish = "[Unit]\nWants=board-agent.service\n"
    told = {
        "systemd.extra-unit.board-agent.service": unit,
        "systemd.unit-dropin.sysinit.target": wish,
    }
    return tuple(
        f"io.systemd.credential.binary:{name}={base64.b64encode(text.encode()).decode()}"
        for name, text in told.items()
    )


class Phone:
    """A phone's browser on the boat's network, as far as forms and cookies go."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._cookie = ""
        self.taps = 0

    def ask(self, path: str, form: dict[str, str] | None = None) -> tuple[int, str, str]:
        """Status, text, and the place that is named to go on to."""
        headers = {"Host": HOST, "Cookie": self._cookie, "Origin": f"http://{HOST}"}
        body = None
        if form is not None:
            self.taps += 1
            headers["Content-Type"] = "application/x-www-form-urlencoded"
            body = urllib.parse.urlencode(form)
        line = http.client.HTTPConnection("127.0.0.1", self._port, timeout=300)
        line.request("POST" if form is not None else "GET", path, body, headers)
        answer = line.getresponse()
        if cookie := answer.headers.get("Set-Cookie"):
            self._cookie = cookie.split(";")[0]
        text = answer.read().decode("utf-8", "replace")
        return answer.status, text, answer.headers.get("Location", "")

    def answers(self) -> bool:
        """Whether the pages are there."""
        with suppress(OSError, http.client.HTTPException):
            return self.ask("/pair")[0] == 200
        return False


def code_of(sheet: Path) -> str:
    """The code on the sheet."""
    found = re.search(r"(?m)^ {3}((?:[2-9A-Z]{4}-){2}[2-9A-Z]{4})$", sheet.read_text())
    if found is None:
        raise BoardError(f"there is no code in {sheet}")
    return found[1]


def new_card(bench: Bench, name: str) -> Path:
    """The image on a card that is larger."""
    card = bench.card(name, bench.ready)
    with card.open("r+b") as file:
        file.truncate(CARD_BYTES)
    return card


@contextmanager
def started(bench: Bench, card: Path, seed: int = 0) -> Iterator[tuple[Machine, Phone]]:
    """A board that is up with this card, and a phone beside it; off again afterwards."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    machine = bench.machine(card, net=f"phone:{port}", told=hand(), seed=seed)
    machine.switch_on()
    try:
        machine.wait(bench.boot_s)
        yield machine, Phone(port)
    finally:
        if machine.runs:
            machine.switch_off()


def first_start(bench: Bench) -> None:
    """From power on: services, pages, read-only, the whole card, what listens."""
    card = new_card(bench, "ready")
    with started(bench, card) as (board, phone):
        _looked_over(bench, board, phone)
    with started(bench, card) as (board, phone):
        bench.until("the pages", phone.answers, bench.boot_s, 2.0)
        bench.say("second start, from power on", f"{time.monotonic() - board.on_s:.0f} s")


def _looked_over(bench: Bench, board: Machine, phone: Phone) -> None:
    bench.until("the pages", phone.answers, bench.boot_s, 2.0)
    bench.say("from power on to the pages on a phone", f"{time.monotonic() - board.on_s:.0f} s")
    for unit in UNITS:
        said = board.run(f"systemctl is-active {unit}").out.strip()
        # A recorder whose boat has no sources yet tries again until it has.
        fine = said == "active" or (unit == "keelwatt-record" and said == "activating")
        bench.say(unit, said, fine)
    failed = board.run("systemctl --failed --plain --no-legend").out.strip()
    bench.say("units that failed", failed or "none", not failed)
    _grown(bench, board)
    _read_only(bench, board)
    _listening(bench, board)
    _paired(bench, phone)


def _read_only(bench: Bench, board: Machine) -> None:
    for place in ("/", "/usr/bin", "/boot", "/root", "/home", "/usr/lib/systemd/system"):
        said = board.run(f"touch {place}/written").err.strip()
        bench.say(f"root writes to {place}", said, "Read-only file system" in said)
    said = board.run("mount -o remount,rw / && touch /written").err.strip()
    bench.say("after root remounts it to be written", said or "written", bool(said))
    kind = board.must("findmnt --noheadings --output SOURCE,FSTYPE,OPTIONS /").strip()
    bench.say("the system's partition", kind, "squashfs ro" in " ".join(kind.split()))
    log = board.must("findmnt --noheadings --output SOURCE,FSTYPE /var/lib/keelwatt").strip()
    bench.say("the log's partition", log, "[/log]" in log and "ext4" in log)
    journal = board.run("ls /var/log/journal").code
    bench.say("journal on the card", "no" if journal else "yes", journal != 0)
    bench.say("settings changed by starting", board.must("cd /card/etc/upper && find . -type f"))


def _grown(bench: Bench, board: Machine) -> None:
    ask = "systemctl is-active -q keelwatt-grow || systemctl show -P Result keelwatt-grow"
    board.must(
        "for n in $(seq 100); do [ $(systemctl show -P ExecMainExitTimestampMonotonic "
        "keelwatt-grow) != 0 ] && exit; sleep 3; done; exit 1",
        timeout_s=bench.boot_s * 2,
    )
    said = board.run(ask).out.strip()
    size = int(board.must("df --block-size=1 --output=size /card | tail -1"))
    figure = f"{said}; {size / 2**20:.0f} MiB of a card of {CARD_BYTES / 2**20:.0f}"
    # What is left of the card after boot files, system, and a twentieth for the file system itself.
    left = CARD_BYTES - bench.ready.stat().st_size
    bench.say("the log's file system", figure, said == "success" and size > 0.95 * left)


def _listening(bench: Bench, board: Machine) -> None:
    found, strange = [], []
    ask = "ss --listening --tcp --udp --numeric --processes --no-header"
    for line in board.must(ask).split("\n"):
        words = line.split()
        if not words:
            continue
        port, who = words[4].rsplit(":", 1)[1], " ".join(re.findall(r'"([^"]+)"', line))
        found.append(f"{words[0]} {words[4]} {who}")
        chosen_by_kernel = words[0] == "udp" and who == "avahi-daemon"
        if who.split(" ")[0] != MAY_LISTEN[words[0]].get(port) and not chosen_by_kernel:
            strange.append(found[-1])
    bench.say("what listens", "; ".join(found))
    bench.say("beyond pages, name and Wi-Fi", "; ".join(strange) or "nothing", not strange)


def _paired(bench: Bench, phone: Phone) -> None:
    status, _, place = phone.ask("/set-up")
    bench.say("a phone that is not paired is sent to", place, status == 303 and "/pair" in place)
    status, _, _ = phone.ask("/pair", {"code": "AAAA-BBBB-CCCC", "to": "/set-up"})
    bench.say("a wrong code", status, status == 403)
    code = code_of(bench.ready.with_suffix(".txt"))
    status, _, place = phone.ask("/pair", {"code": code, "to": "/set-up"})
    bench.say("the sheet's code leads to", place, status == 303 and place == "/set-up")
    status, text, _ = phone.ask("/set-up")
    bench.say("the set-up page", f"{status}, {len(text)} letters", status == 200)


def describe(bench: Bench, board: Machine) -> None:
    """The demo's boat, its bus played on the board; its GPS comes over a plug that has a name."""
    board.must("cat >/var/lib/keelwatt/demo.dbc", typed=(DEMO / "demo.dbc").read_text())
    board.must("cat >/var/lib/keelwatt/boat.toml", typed=boat.boat_file())
    board.must("cat >/run/bus.py", typed=(HERE / "inside/bus.py").read_text())
    frames = bench.work / "demo.frames"
    if not frames.exists():
        write_bus_recording(frames)
    packed = base64.b64encode(_minutes(frames, 30)).decode()
    board.must("base64 -d >/run/demo.frames", typed=packed, timeout_s=bench.boot_s)
    board.must("sh -s", typed=boat.sensor_tree())
    board.must(f"modprobe vcan && ip link add {boat.BUS} type vcan && ip link set {boat.BUS} up")
    board.must("sh /opt/keelwatt/current/share/name-port.sh gps A5069RR4")
    board.must(
        f"systemd-run --unit=board-bus python3 /run/bus.py play {boat.BUS} /run/demo.frames 0"
    )


def _minutes(frames: Path, minutes: int) -> bytes:
    """The part of the recording under motor, as the whole is too much to type."""
    from feeds import RECORD

    records = list(RECORD.iter_unpack(frames.read_bytes()))
    first_s = records[0][0] + 1500.0
    kept = [r for r in records if first_s <= r[0] < first_s + minutes * 60]
    return b"".join(RECORD.pack(*r) for r in kept)


def recording(bench: Bench) -> None:
    """A boat is described, and recorded: what is written to the card in an hour."""
    card = new_card(bench, "recording")
    with started(bench, card) as (board, _):
        gps = bench.gps(board)
        describe(bench, board)
        board.must("systemctl restart keelwatt-record", timeout_s=bench.boot_s)
        bench.wait_for_both(board)
        time.sleep(60)
        before, start_s = _written(board), time.monotonic()
        time.sleep(WRITES_MIN * 60)
        after, took_s = _written(board), time.monotonic() - start_s
        hour = (after - before) / 1e6 * HOUR_S / took_s
        figure = f"{hour:.1f} MB an hour, by the board's own count over {took_s / 60:.1f} min"
        bench.say("written to the card by the whole system", figure, hour <= MOST_MB_PER_HOUR)
        found = bench.look(board, "pack_voltage_v", "latitude_deg")
        bench.say("readings", found["readings"], found["readings"] > 0)
        gps.close()


def _written(board: Machine) -> int:
    """Bytes written to the card since the start (the tenth figure; sectors of 512 bytes).

    Source: Documentation/admin-guide/iostats.
    """
    return int(board.must("awk '$3 == \"vda\" {print $10}' /proc/diskstats")) * 512


def first_cuts(bench: Bench) -> None:
    """The power is cut at chance moments of the first start, each time on a new card, and each card
    is then started again; a part of the cuts falls while it grows."""
    chance = random.Random(bench.scenario)
    failures: list[str] = []
    whole_s = 0.0  # what a start takes
    for number in range(bench.cuts):
        card = new_card(bench, f"first_cut_{number}")
        machine = bench.machine(card, told=hand(), seed=number)
        machine.switch_on()
        try:
            if number % 2 == 0:
                whole_s = machine.wait(bench.boot_s)
                machine.run("systemctl start --no-block keelwatt-grow", timeout_s=bench.boot_s)
                machine.aim(chance.randint(1, 12))
                held, forgotten = machine.cut(aimed_s=30.0 * bench.patience)
            else:
                time.sleep(chance.uniform(0.0, whole_s))
                held, forgotten = machine.cut()
        finally:
            machine.kill()
        moment = "while it grew" if number % 2 == 0 else "while it started"
        after = f"after {time.monotonic() - machine.on_s:.0f} s"
        bench.say(f"power cut {moment}", f"{after}; {held} blocks held, {forgotten} forgotten")
        try:
            with started(bench, card, seed=number) as (board, phone):
                _looked_over(bench, board, phone)
                said = board.run("journalctl -b -k --no-pager | grep -iE 'ext4|gpt'").out
                bench.say("the kernel says of the card", said.strip() or "nothing")
        except BoardError as error:
            failures.append(f"cut {number}: {error}")
        card.unlink()
    figure = "; ".join(failures) or "each came up, pages answering, the log on the whole card"
    bench.say("cards that were cut at their first start", figure, not failures)

"""What scenarios share: the boards they switch on, the lines they report."""

import itertools
import json
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from feeds import Gps
from image import HERE, copy_card
from machine import BOARD_IP, BoardError, Machine

LOG = "/var/lib/keelwatt/log.sqlite"
PYTHON = "/opt/keelwatt/current/bin/python"
PORT_OPEN = "bash -c '</dev/tcp/127.0.0.1/8765' 2>/dev/null"
PAGE = f"http://{BOARD_IP}:8765/"


def inside(name: str) -> str:
    """A script that the board's Python reads from its input."""
    return (HERE / "inside" / name).read_text()


@dataclass(frozen=True)
class Line:
    """One line of the report. ok: None where there is only a figure."""

    scenario: str
    what: str
    figure: str
    ok: bool | None


@dataclass
class Bench:
    """The tests' table.

    Args:
        work: Everything that is made goes here.
        arch: amd64 or arm64.
        accel: kvm or tcg.
        kernel, initrd: The root's; None where the card starts by itself.
        image: A ready card's.
        patience: How many times longer to wait, where this machine is busy.
        cuts: How often the power is cut.
        load_s: How long the bus is loaded.
        commit: What was checked out when the run began.
    """

    work: Path
    arch: str
    accel: str
    kernel: Path | None
    initrd: Path | None
    cuts: int = 30
    load_s: float = 600.0
    commit: str = ""
    image: Path | None = None
    patience: float = 1.0
    lines: list[Line] = field(default_factory=list)
    scenario: str = ""
    _numbers: "itertools.count[int]" = field(default_factory=itertools.count)

    @property
    def slow(self) -> float:
        """How much longer to wait where the processor is emulated."""
        emulated = {"kvm": 1.0, "tcg": 12.0}[self.accel]
        return emulated * self.patience * (2.0 if self.arch == "arm64" else 1.0)

    @property
    def boot_s(self) -> float:
        """When a start has surely failed."""
        return 60 * self.slow

    def say(self, what: str, figure: object, ok: bool | None = None) -> None:
        """One line of the report, printed at once."""
        line = Line(self.scenario, what, str(figure), ok)
        self.lines.append(line)
        word = {True: "pass", False: "FAIL", None: "    "}[ok]
        print(f"{time.strftime('%H:%M:%S')} {word}  {line.scenario}: {what}: {figure}", flush=True)

    @property
    def ready(self) -> Path:
        """The ready card. Raises BoardError where none was given."""
        if self.image is None:
            raise BoardError("this wants a ready card: --image")
        return self.image

    @property
    def installed(self) -> Path:
        """The card after the page's steps: installed, recording, switched off in order."""
        return self.work / f"installed-{self.arch}.img"

    def card(self, name: str, of: Path | None = None) -> Path:
        """A scenario's own copy of a card."""
        source = of or self.installed
        if not source.exists():
            raise BoardError("the installed card is not there: run the scenario `page` first")
        return copy_card(source, self.work / f"{name}-{self.arch}.img")

    def machine(self, card: Path, **options: Any) -> Machine:
        """A board with this card."""
        folder = self.work / f"run-{self.scenario}-{self.arch}"
        return Machine(self.arch, self.accel, self.kernel, self.initrd, card, folder, **options)

    def look(self, board: Machine, *channels: str, log: str = LOG) -> dict[str, Any]:
        """What the log holds; see inside/look.py."""
        command = f"{PYTHON} - {log} {' '.join(channels)}"
        said = board.must(command, typed=inside("look.py"), timeout_s=120 * self.slow)
        found: dict[str, Any] = json.loads(said)
        return found

    def whole(self, board: Machine) -> dict[str, Any]:
        """Whether the log is whole, and its boots, as soon as this boot's readings are there.

        See inside/whole.py, which needs no package and so little of an emulated processor.
        """
        limit_s = self.boot_s
        command = f"python3 - {LOG} {limit_s}"
        said = board.must(command, typed=inside("whole.py"), timeout_s=limit_s * 2)
        found: dict[str, Any] = json.loads(said)
        return found

    def until(
        self, what: str, true: Callable[[], bool], within_s: float, every_s: float = 5.0
    ) -> float:
        """Waits until something holds; how long it took. [s] Raises BoardError if it never does."""
        start_s = time.monotonic()
        while not true():
            if time.monotonic() - start_s > within_s:
                raise BoardError(f"{what}: not within {within_s:.0f} s")
            time.sleep(every_s)
        return time.monotonic() - start_s

    def wait_for_both(self, board: Machine) -> None:
        """Until the recorder is up and the pages' port is open; a service that falls and is started
        again would pass for active. One command: asking is dear where all is emulated."""
        ask = f"systemctl is-active --quiet keelwatt-record && {PORT_OPEN}"
        tries = int(self.boot_s / 4)
        board.must(
            f"for n in $(seq {tries}); do {ask} && exit; sleep 4; done; exit 1",
            timeout_s=self.boot_s * 2,
        )

    def both_run(self, board: Machine) -> bool:
        """Whether both services are up."""
        return board.run(f"systemctl is-active --quiet keelwatt-record && {PORT_OPEN}").code == 0

    def gps(self, board: Machine, fix_after_s: float = 0.0) -> Gps:
        """Plugs the receiver in, where the outing is under motor."""
        return Gps(board.gps_port, 1500.0, fix_after_s)

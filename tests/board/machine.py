"""A board in the emulator: switched on, asked, unplugged, and cut off without warning."""

import contextlib
import json
import os
import re
import signal
import socket
import subprocess
import threading
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from card import Card

LAN, BOARD_IP, PHONE_IP = "kwboard0", "192.168.77.2", "192.168.77.1"
# What is dear to emulate: strings moved byte by byte, a fifth level of tables, guards.
TCG_PC = "max,erms=off,fsrm=off,la57=off,smap=off,smep=off"
EMULATORS = {"amd64": "qemu-system-x86_64", "arm64": "qemu-system-aarch64"}
# UEFI, of Debian's packages ovmf and qemu-efi-aarch64.
FIRMWARE = {
    "amd64": "/usr/share/ovmf/OVMF.fd",
    "arm64": "/usr/share/qemu-efi-aarch64/QEMU_EFI.fd",
}


class BoardError(Exception):
    """The board did not do what was asked."""


@dataclass(frozen=True)
class Done:
    """What a command on the board gave."""

    code: int
    out: str
    err: str


@dataclass
class Machine:
    """One board.

    Args:
        arch: amd64 or arm64.
        accel: "kvm" or "tcg".
        kernel, initrd: The root's own; None: the card's own boot files are started by UEFI.
        told: What the firmware tells the card's system beside (SMBIOS type 11, from systemd's and
            systemd-boot's manuals).
        card: Its memory card's image.
        folder: For sockets and the console's log.
        stick: A USB stick's image.
        clock: The date that its clock wakes with, "2026-05-01T12:00:00"; None: the right one.
        net: "home": with the internet; "boat": with this machine as a neighbour; "": alone;
            "phone:PORT": alone, but its pages answer at this machine's own port.
        seed: What a power cut makes the card forget.
    """

    arch: str
    accel: str
    kernel: Path | None
    initrd: Path | None
    card: Path
    folder: Path
    told: tuple[str, ...] = ()
    stick: Path | None = None
    clock: str | None = None
    net: str = ""
    seed: int = 0
    on_s: float = 0.0  # time.monotonic() when it was switched on
    last_beat_s: float = 0.0  # the board's own clock, as last heard
    frames_s: deque[float] = field(default_factory=lambda: deque(maxlen=5000))  # sent on its bus
    _asked: int = 0
    _waits: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=200))
    _stop: threading.Event = field(default_factory=threading.Event)

    def switch_on(self) -> None:
        """Gives it power; does not wait."""
        self.folder.mkdir(parents=True, exist_ok=True)
        self._stop = threading.Event()
        self._server = Card(self.card, self.folder / "card.sock", self.seed)
        ports = {name: self._listen(name) for name in ("agent", "beat", "gps", "qmp")}
        if self.net == "boat":
            _make_lan()
        self.on_s = time.monotonic()
        self._console = (self.folder / "console.log").open("ab")
        self._process = subprocess.Popen(
            self._command(), stdin=subprocess.DEVNULL, stdout=self._console, stderr=self._console
        )
        try:
            self._ends = {name: self._accept(door) for name, door in ports.items()}
        except BoardError:
            self._process.kill()
            raise
        self._qmp = self._ends["qmp"].makefile("rw")
        json.loads(self._qmp.readline())
        self.tell("qmp_capabilities")
        self._answers = self._ends["agent"].makefile("rb")
        self.gps_port = self._ends["gps"]
        threading.Thread(target=self._hear_beat, args=(self._stop,), daemon=True).start()
        threads = [cpu["thread-id"] for cpu in self.tell("query-cpus-fast")]
        threading.Thread(target=self._watch, args=(self._stop, threads), daemon=True).start()

    def _listen(self, name: str) -> socket.socket:
        door = socket.socket(socket.AF_UNIX)
        path = self.folder / f"{name}.sock"
        path.unlink(missing_ok=True)
        door.bind(str(path))
        door.listen(1)
        door.settimeout(20)
        return door

    def _accept(self, door: socket.socket) -> socket.socket:
        try:
            end, _ = door.accept()
        except TimeoutError:
            raise BoardError(f"the emulator did not start: see {self.folder}/console.log") from None
        finally:
            door.close()
        end.settimeout(None)
        return end

    def _command(self) -> list[str]:
        arm = self.arch == "arm64"
        processor = "host,-arch-capabilities" if self.accel == "kvm" else TCG_PC
        if arm and self.accel == "tcg":
            processor = "cortex-a72"
        accel = "tcg,thread=multi,tb-size=1024" if self.accel == "tcg" else "kvm"
        nets = {
            "home": "user,id=net",
            "boat": f"tap,id=net,ifname={LAN},script=no,downscript=no",
            "": "user,id=net,restrict=on",
        }
        kind, _, port = self.net.partition(":")
        nets["phone"] = f"user,id=net,restrict=on,hostfwd=tcp:127.0.0.1:{port}-:8765"
        command = [EMULATORS[self.arch], "-accel", accel, "-cpu", processor, "-smp", "2"]
        command += ["-m", "1024", "-machine", "virt" if arm else "q35", "-no-reboot"]
        command += ["-display", "none", "-serial", "stdio", "-monitor", "none", "-nodefaults"]
        command += self._start_by(self._words(arm))
        command += ["-drive", f"if=none,id=card,format=raw,file=nbd:unix:{self._server.address}"]
        command += ["-device", "virtio-blk-pci,drive=card", "-device", "virtio-rng-pci"]
        command += ["-netdev", nets[kind], "-device", "virtio-net-pci,netdev=net"]
        command += ["-device", "virtio-serial-pci", "-device", "qemu-xhci,id=usb"]
        for name in ("agent", "beat", "gps", "qmp"):
            command += ["-chardev", f"socket,id={name},path={self.folder / name}.sock"]
        for name in ("agent", "beat"):
            command += ["-device", f"virtserialport,chardev={name},name={name}"]
        command += ["-mon", "chardev=qmp,mode=control"]
        command += ["-device", self._gps_plug()]
        if not arm:  # a CAN controller on the board, with nothing at the other end of its wires
            command += ["-object", "can-bus,id=wires", "-device", "kvaser_pci,canbus=wires"]
        if self.stick:
            # What the board writes on it is not kept: other boards may have the same stick in.
            command += ["-drive", f"if=none,id=stick,format=raw,file={self.stick},snapshot=on"]
            command += ["-device", "usb-storage,drive=stick"]
        if self.clock:
            command += ["-rtc", f"base={self.clock}"]
        return command

    def _words(self, arm: bool) -> str:
        """The kernel's."""
        console = "ttyAMA0" if arm else "ttyS0"
        words = f"console={console} net.ifnames=0 quiet"
        if self.accel == "tcg":  # guarding an emulated processor against its own faults only costs
            words += " mitigations=off init_on_alloc=0"
        if not arm and self.accel == "tcg" and _tsc_khz():
            # Else it reads the time from a far dearer clock, or measures this one when the emulator
            # is kept from running and has days of ten hours.
            words += f" tsc=reliable tsc_early_khz={_tsc_khz()}"
        if (
            not arm and self.accel == "tcg"
        ):  # nor are its timers broken when it is kept from running
            words += " no_timer_check"
        return words

    def _start_by(self, words: str) -> list[str]:
        """What is started, and the kernel's words for it."""
        if self.kernel:
            words = f"root=/dev/vda rw {words}"
            return ["-kernel", str(self.kernel), "-initrd", str(self.initrd), "-append", words]
        # Where a processor is emulated, things take longer than systemd waits.
        words += " systemd.default_timeout_start_sec=1200 systemd.default_device_timeout_sec=1200"
        words += " systemd.service_watchdogs=no"
        told = (f"io.systemd.boot.kernel-cmdline-extra={words}", *self.told)
        doubled = [f"type=11,value={one.replace(',', ',,')}" for one in told]
        start = ["-bios", FIRMWARE[self.arch]]
        return start + [word for one in doubled for word in ("-smbios", one)]

    @staticmethod
    def _gps_plug() -> str:
        return "usb-serial,id=gpsplug,chardev=gps,serial=A5069RR4"  # the number in the page

    def tell(self, command: str, **options: str) -> Any:
        """Tells the emulator something; its answer. Raises BoardError where it refuses."""
        self._qmp.write(json.dumps({"execute": command, "arguments": options}) + "\n")
        self._qmp.flush()
        while True:
            answer = json.loads(self._qmp.readline())
            if "error" in answer:
                raise BoardError(f"{command}: {answer['error']['desc']}")
            if "return" in answer:
                return answer["return"]

    def _hear_beat(self, stop: threading.Event) -> None:
        with contextlib.suppress(OSError, ValueError):
            for line in self._ends["beat"].makefile("r"):
                if stop.is_set():
                    return
                if line.endswith("\n") and line.strip():
                    self.last_beat_s, *sent_s = map(float, line.split())
                    self.frames_s.extend(sent_s)

    def _watch(self, stop: threading.Event, threads: list[int]) -> None:
        """Notes how long the board's processors have waited for one of this machine's.

        Source: Documentation/scheduler/sched-stats, /proc/PID/schedstat: on a processor, waiting
        for one [ns].
        """
        files = [Path(f"/proc/{self._process.pid}/task/{thread}/schedstat") for thread in threads]
        with contextlib.suppress(OSError, IndexError):
            while not stop.wait(0.1):
                waited_ns = sum(int(file.read_text().split()[1]) for file in files)
                self._waits.append((time.monotonic(), waited_ns / 1e9 / len(files)))

    def waited_s(self, last_s: float) -> float:
        """How long, of the last seconds before now or the cut, the board's processors stood still
        because this machine's were given to others; the mean of them. [s]"""
        if not self._waits:
            return 0.0
        end_s, end = self._waits[-1]
        before = [waited for at_s, waited in self._waits if at_s <= end_s - last_s]
        return end - (before[-1] if before else self._waits[0][1])

    def wait(self, timeout_s: float) -> float:
        """Until the board does what it is asked; seconds since it was switched on."""
        self._ends["agent"].settimeout(timeout_s)
        try:
            while b"hello" not in (line := self._answers.readline()):
                if not line:
                    raise BoardError(f"the emulator ended: see {self.folder}/console.log")
        except TimeoutError:
            raise BoardError(f"not up after {timeout_s} s: {self.folder}/console.log") from None
        return time.monotonic() - self.on_s

    def run(
        self, command: str, user: str = "root", typed: str = "", timeout_s: float = 120
    ) -> Done:
        """Runs a command line on the board, as root or as `skipper`. Raises BoardError if stuck."""
        self._asked += 1
        asked = {"id": self._asked, "command": command, "user": user, "input": typed}
        line = json.dumps({**asked, "timeout_s": timeout_s}) + "\n"
        self._ends["agent"].settimeout(timeout_s + 30)
        self._ends["agent"].sendall(line.encode())
        while True:
            try:
                got = self._answers.readline()
            except TimeoutError:
                raise BoardError(f"no answer to: {command}") from None
            if not got:
                raise BoardError(f"the board went away during: {command}")
            answer: dict[str, Any] = json.loads(got)
            if answer.get("id") == self._asked:
                return Done(answer["code"], answer["out"], answer["err"])

    def must(
        self, command: str, user: str = "root", typed: str = "", timeout_s: float = 120
    ) -> str:
        """What a command printed. Raises BoardError where it fails."""
        done = self.run(command, user, typed, timeout_s)
        if done.code:
            raise BoardError(f"{command}: status {done.code}: {(done.err or done.out)[-600:]}")
        return done.out

    def aim(self, blocks: int) -> None:
        """Power goes at the very moment at which the card holds so many blocks not flushed."""
        self._server.when_held(blocks, lambda: os.kill(self._process.pid, signal.SIGKILL))

    def cut(self, aimed_s: float = 0.0) -> tuple[int, int]:
        """The main switch: the emulator is killed. Blocks the card held, and those it forgot.

        Args:
            aimed_s: How long to wait first for what `aim` wants.
        """
        self._server.trapped.wait(aimed_s)
        self._stop.set()
        os.kill(self._process.pid, signal.SIGKILL)
        self._process.wait()
        forgot = self._server.cut()
        self._end()
        return forgot

    def switch_off(self, timeout_s: float = 120) -> float:
        """In order; how long it took. [s]"""
        start_s = time.monotonic()
        with contextlib.suppress(BoardError, OSError):
            self.run("systemctl --no-block poweroff", timeout_s=20)
        try:
            self._process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._end()
        return time.monotonic() - start_s

    @property
    def runs(self) -> bool:
        """Whether it is on."""
        return self._process.poll() is None

    def kill(self) -> None:
        """If it still runs."""
        if self.runs:
            self.cut()

    def _end(self) -> None:
        self._stop.set()
        for end in self._ends.values():
            end.close()
        self._server.close()
        self._console.close()

    @property
    def card_written(self) -> int:
        """Bytes written to the card since it was switched on."""
        return self._server.written


@contextlib.contextmanager
def switched_on(machine: Machine, boot_s: float) -> Iterator[Machine]:
    """A board that is up, and off again afterwards whatever happens."""
    machine.switch_on()
    try:
        machine.wait(boot_s)
        yield machine
    finally:
        if machine.runs:
            machine.switch_off()


def _tsc_khz() -> int:
    """The rate of this machine's own time stamp counter, which the emulated one shows; 0: none.

    Source: Linux, arch/x86/kernel/cpu/proc.c: two BogoMIPS for each MHz of a constant counter.
    """
    said = Path("/proc/cpuinfo").read_text()
    found = re.search(r"(?m)^bogomips\s*:\s*([\d.]+)", said)
    return int(float(found[1]) * 500) if found and "constant_tsc" in said else 0


def _make_lan() -> None:
    """The boat's network, with this machine as the one other on it."""
    if Path(f"/sys/class/net/{LAN}").exists():
        return
    subprocess.run(["ip", "tuntap", "add", "dev", LAN, "mode", "tap"], check=True)
    subprocess.run(["ip", "address", "add", f"{PHONE_IP}/24", "dev", LAN], check=True)
    subprocess.run(["ip", "link", "set", LAN, "up"], check=True)


def kvm_runs(kernel: Path) -> bool:
    """Whether this machine's KVM starts this kernel; some can only run kernels made for them."""
    if not os.access("/dev/kvm", os.R_OK | os.W_OK):
        return False
    command = ["qemu-system-x86_64", "-accel", "kvm", "-cpu", "host,-arch-capabilities"]
    command += ["-m", "512", "-display", "none", "-nodefaults", "-serial", "stdio", "-no-reboot"]
    command += ["-kernel", str(kernel), "-append", "console=ttyS0 panic=-1"]
    try:
        done = subprocess.run(command, capture_output=True, timeout=15, check=False)
        said = done.stdout
    except subprocess.TimeoutExpired as late:
        said = late.stdout or b""
    return b"Linux version" in said

"""Somebody else on the boat's network: what is open, what an unpaired phone sees."""

import re
import selectors
import socket
import time
import urllib.error
import urllib.parse
import urllib.request
from contextlib import suppress

from bench import PAGE, Bench
from machine import BOARD_IP, Machine, switched_on

OPENED = {22: "ssh", 8765: "pages"}
OPENED_UDP = {5353: "avahi, the board's name"}
AT_ONCE, PATIENCE_S = 200, 3.0
PAGE_WAIT_S = 900.0  # for an emulated processor
PATHS = (
    *("/", "/live", "/flags/live", "/trips", "/trip/1", "/trip/1/report.html", "/health", "/plan"),
    *("/set-up", "/log", "/log/columns.json", "/compare", "/api", "/api/range", "/api/check"),
    *("/api/log", "/api/trips", "/openapi.json", "/docs", "/static/../boat.toml"),
)
UNITS = ("keelwatt-record", "keelwatt-serve")
EXPOSURE = 3.0


class _Stay(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_: object, **__: object) -> None:
        """Redirections are looked at, not followed."""


_OPENER = urllib.request.build_opener(_Stay)


def ask(path: str, form: dict[str, str] | None = None, **headers: str) -> tuple[int, str, str]:
    """Status, text and the cookie or place it names."""
    data = urllib.parse.urlencode(form).encode() if form is not None else None
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    request = urllib.request.Request(PAGE.rstrip("/") + path, data, named)
    try:
        with _OPENER.open(request, timeout=PAGE_WAIT_S) as answer:
            return answer.status, answer.read().decode("utf-8", "replace"), ""
    except urllib.error.HTTPError as error:
        place = error.headers.get("Set-Cookie") or error.headers.get("Location") or ""
        return error.code, error.read().decode("utf-8", "replace"), place


def open_ports() -> list[int]:
    """All TCP ports of the board that take a connection."""
    found: list[int] = []
    waiting = list(range(1, 65536))
    with selectors.DefaultSelector() as ready:
        while waiting or ready.get_map():
            while waiting and len(ready.get_map()) < AT_ONCE:
                one = socket.socket()
                one.setblocking(False)
                port = waiting.pop()
                with suppress(BlockingIOError):
                    one.connect((BOARD_IP, port))
                ready.register(one, selectors.EVENT_WRITE, (port, time.monotonic()))
            for key, _ in ready.select(0.2):
                if key.fileobj.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR) == 0:  # type: ignore[union-attr]
                    found.append(key.data[0])
                ready.unregister(key.fileobj)
                key.fileobj.close()  # type: ignore[union-attr]
            late = time.monotonic() - PATIENCE_S
            for key in [k for k in ready.get_map().values() if k.data[1] < late]:
                ready.unregister(key.fileobj)
                key.fileobj.close()  # type: ignore[union-attr]
    return sorted(found)


def scenario(bench: Bench) -> None:
    """Scans, knocks, guesses."""
    with switched_on(bench.machine(bench.card("neighbour"), net="boat"), bench.boot_s) as board:
        gps = bench.gps(board)
        bench.wait_for_both(board)
        bench.until("the page", lambda: _up(), bench.boot_s)
        _ports(bench, board)
        _unpaired(bench)
        _services(bench, board)
        _paired(bench, board)
        gps.close()


def _up() -> bool:
    with suppress(OSError):
        return ask("/pair")[0] == 200
    return False


def _ports(bench: Bench, board: Machine) -> None:
    start_s = time.monotonic()
    found = open_ports()
    figure = f"{found} of 65535, in {time.monotonic() - start_s:.0f} s"
    bench.say("TCP ports open to a neighbour", figure, found == sorted(OPENED))
    listening = board.must("ss -lun | tail -n +2")
    udp = sorted(
        {
            int(p)
            for p in re.findall(r"(?m)^\S+\s+\d+\s+\d+\s+(?!127\.|\[::1\])\S*:(\d+)\s", listening)
        }
    )
    # avahi asks from a port of its own, too, which changes from start to start.
    owners = board.must("ss -lunp | tail -n +2")
    strange = [line for line in owners.splitlines() if "avahi" not in line and "127." not in line]
    bench.say("UDP ports listened on", strange if strange else f"{udp}, all avahi's", not strange)


def _unpaired(bench: Bench) -> None:
    seen = []
    for path in PATHS:
        for headers in ({}, {"X_Forwarded_For": "127.0.0.1"}, {"Cookie": "keelwatt=change.AA.BB"}):
            status, text, _ = ask(path, None, **headers)
            if status not in (303, 401, 403, 404) or re.search(r"\d\s?(nmi|%|kn|V)\b", text):
                seen.append(f"{path}: {status}")
    tried = f"{len(PATHS)} paths, plain, with a forged cookie, as if from the board itself"
    bench.say("an unpaired phone sees", seen if seen else f"nothing: {tried}", not seen)
    status, _, _ = ask("/set-up", {"name": "mine"})
    bench.say("and changes", f"nothing: status {status}", status in (303, 401, 403, 404, 405))
    status, _, _ = ask("/", Host="elsewhere.example")
    bench.say("asked under another name (rebinding)", f"status {status}", status in (400, 403, 421))
    codes = [ask("/pair", {"code": f"AAAA-222{n}"})[0] for n in range(2, 9)]
    bench.say("wrong codes", codes, codes[:5] == [403] * 5 and set(codes[5:]) == {429})


def _paired(bench: Bench, board: Machine) -> None:
    codes = _codes(board.must("systemctl status keelwatt-serve"))
    bench.say("codes stand in `systemctl status` after all that", len(codes), len(codes) == 2)
    others = _codes(board.run("systemctl status keelwatt-serve", "skipper").out)
    bench.say("codes that a user sees without sudo", len(others))
    codes = codes or _codes(board.must("journalctl -b -u keelwatt-serve"))
    time.sleep(61)  # the wrong codes are forgotten
    rights = []
    for code in codes:
        status, _, cookie = ask("/pair", {"code": code})
        cookie = cookie.split(";")[0]
        looks, changes = ask("/", Cookie=cookie)[0], ask("/set-up", {}, Cookie=cookie)[0]
        rights.append((status, looks, changes))
    good = len(rights) == 2 and all(r[1] == 200 for r in rights) and rights[0][2] == 403
    bench.say("paired phones: pairing, looking, changing", rights, good)


def _codes(said: str) -> list[str]:
    return list(dict.fromkeys(re.findall(r"\b[2-9A-Z]{4}-[2-9A-Z]{4}\b", said)))


def _services(bench: Bench, board: Machine) -> None:
    for unit in UNITS:
        pid = board.must(f"systemctl show --value -p MainPID {unit}").strip()
        user = board.must(f"stat -c %U /proc/{pid}").strip()
        grants = board.must(f"grep -E 'CapEff|NoNewPrivs' /proc/{pid}/status | tr -s '\\n\\t' '  '")
        bench.say(f"{unit} runs as", f"{user}: {grants.strip()}", user == "keelwatt")
        said = board.must(f"systemd-analyze security --no-pager {unit} | tail -1")
        exposure = float(re.findall(r"(\d+\.\d)", said)[0])
        bench.say(
            f"{unit}: systemd-analyze security",
            f"{exposure} (at most {EXPOSURE})",
            exposure <= EXPOSURE,
        )
    asked = "systemctl show --value -p User $(systemctl list-unit-files -q --no-legend"
    users = board.must(f"{asked} 'keelwatt*' | cut -d' ' -f1) | grep -v ^$ | sort").split()
    bench.say("users of all keelwatt units", users, users == ["keelwatt"] * len(UNITS))
    rest = board.must("ps -eo user=,comm= | awk '$2 ~ /keelwatt/ {print $1}' | sort -u").split()
    bench.say("users of all keelwatt processes", rest, rest == ["keelwatt"])

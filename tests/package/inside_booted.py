"""Run inside a booted system: asks its pages and its socket; prints what came of it as JSON."""

import json
import os
import pwd
import re
import socket
import time
import urllib.error
import urllib.parse
import urllib.request

BASE = "http://127.0.0.1:8765"
SOCKET = "/run/keelwatt-errand"
found: list[tuple[str, bool, str]] = []


def page(path: str, form: dict[str, str] | None = None) -> tuple[int, str]:
    """A page's status and text."""
    body = urllib.parse.urlencode(form).encode() if form else None
    try:
        with urllib.request.urlopen(BASE + path, data=body, timeout=60) as answer:
            return answer.status, answer.read().decode(errors="replace")
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode(errors="replace")


def wait_for_pages() -> bool:
    """The pages open once the recorder has made a log."""
    for _ in range(60):
        try:
            return page("/set-up")[0] == 200
        except OSError:
            time.sleep(1)
    return False


def as_user(name: str) -> str:
    """What a user's own attempt to ask as the pages do brings."""
    readable, writable = os.pipe()
    if os.fork() == 0:
        user = pwd.getpwnam(name)
        os.setgroups([])
        os.setgid(user.pw_gid)
        os.setuid(user.pw_uid)
        try:
            with socket.socket(socket.AF_UNIX) as asking:
                asking.settimeout(30)
                asking.connect(SOCKET)
                asking.sendall(b'{"act": "sh"}\n')
                os.write(writable, asking.recv(4096))
        except OSError as error:
            os.write(writable, type(error).__name__.encode())
        os._exit(0)
    os.wait()
    return os.read(readable, 4096).decode()


def act(what: str, status: int, **form: str) -> None:
    """One act, asked on the page."""
    time.sleep(1)
    got, text = page("/set-up/board", form)
    said = re.findall(r'role="(?:status|alert)"><p>(.*?)</p>', text)
    found.append((what, got == status, f"{got} {' '.join(said)}"))


def main() -> None:
    """Everything once."""
    found.append(("the pages open", wait_for_pages(), ""))
    act("a bus's rate is set", 200, act="set-bus", bus="can0", rate="250000")
    act("the time zone is set", 200, act="set-zone", zone="Europe/Lisbon")
    act("the recorder is started again", 200, act="restart-recorder")
    act("a zone that is none is refused", 422, act="set-zone", zone="../../etc/shadow")
    act("a stick that is none is refused", 422, act="mark-stick", device="sda1")
    found.append(("the zone is there", "Lisbon" in os.readlink("/etc/localtime"), ""))
    told = as_user("nobody")
    found.append(("another user may not ask", told == "PermissionError", told))
    told = as_user("keelwatt")
    found.append(("the pages' user gets no other act", "no such act" in told, told))
    status, text = page("/set-up/help.zip")
    found.append(("a help file is made", status == 200 and text.startswith("PK"), ""))
    act("it is shut down", 200, act="shut-down", sure="yes")
    print(json.dumps(found))


if __name__ == "__main__":
    main()

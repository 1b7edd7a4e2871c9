"""Run inside a booted system: `send FILE` or `back`, as a phone on the board's own page does it.

Prints what the page said one after the other, as JSON.
"""

import http.client
import json
import sys
import time
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlencode

PORT = 8765
MOST_S = 900.0
FORM = "application/x-www-form-urlencoded"


def ask(method: str, path: str, body: bytes = b"", kind: str = FORM) -> bytes:
    """One answer. Raises OSError while nobody is there."""
    asking = http.client.HTTPConnection("127.0.0.1", PORT, timeout=60)
    asking.request(method, path, body, {"Content-Type": kind} if body else {})
    return asking.getresponse().read()


def send(file: Path) -> None:
    """Chooses a file."""
    head = b'--b\r\nContent-Disposition: form-data; name="release"; filename="x"\r\n\r\n'
    body = head + file.read_bytes() + b"\r\n--b--\r\n"
    ask("POST", "/set-up/release", body, "multipart/form-data; boundary=b")


def follow() -> list[str]:
    """What the page says until nothing goes on any more."""
    heard: list[str] = []
    end_s, quiet = time.monotonic() + MOST_S, 0
    while time.monotonic() < end_s and quiet < 5:
        time.sleep(1)
        try:
            told = json.loads(ask("GET", "/set-up/release.json"))
        except (OSError, ValueError, http.client.HTTPException):
            told = {"said": "(away)", "busy": True}
        quiet = 0 if told["busy"] else quiet + 1
        if told["said"] and told["said"] not in heard[-1:]:
            heard.append(told["said"])
    return heard


def wait() -> None:
    """Until the pages are there."""
    for _ in range(120):
        with suppress(OSError):
            ask("GET", "/set-up/board")
            return
        time.sleep(1)


def main(words: list[str]) -> None:
    """Asks and listens."""
    wait()
    if words[0] == "send":
        send(Path(words[1]))
    if words[0] == "back":
        ask("POST", "/set-up/board", urlencode({"act": "go-back", "sure": "yes"}).encode())
    print(json.dumps(follow() if words[-1] != "--leave" else []))


if __name__ == "__main__":
    main(sys.argv[1:])

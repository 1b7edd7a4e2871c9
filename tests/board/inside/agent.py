"""On the board: does what the tests ask over a virtio port, one JSON line each way.

Asked: {"command", "user", "input", "timeout_s"}; answered: {"code", "out", "err"}.
"""

import json
import os
import subprocess
import time
from typing import Any

PORT = "/dev/virtio-ports/agent"


def act(asked: dict[str, Any]) -> dict[str, Any]:
    """Runs one command line as a user, as if typed after logging in."""
    user = asked.get("user", "root")
    start = ["runuser", "-l", user, "-c"] if user != "root" else ["sh", "-c"]
    try:
        done = subprocess.run(
            [*start, asked["command"]],
            input=asked.get("input", ""),
            capture_output=True,
            text=True,
            errors="replace",
            timeout=asked.get("timeout_s", 60),
            check=False,
            cwd="/",
        )
    except subprocess.TimeoutExpired:
        return {"code": 124, "out": "", "err": f"not done after {asked.get('timeout_s', 60)} s"}
    return {"code": done.returncode, "out": done.stdout, "err": done.stderr}


def main() -> None:
    """Until the board goes off."""
    while not os.path.exists(PORT):
        time.sleep(0.1)
    with open(PORT, "rb+", buffering=0) as port:
        port.write(b'{"hello": true}\n')
        waiting = b""
        while True:
            got = port.read(65536)
            if not got:  # nobody at the other end
                time.sleep(0.05)
                continue
            waiting += got
            while b"\n" in waiting:
                line, waiting = waiting.split(b"\n", 1)
                answer = json.dumps({"id": json.loads(line)["id"], **act(json.loads(line))})
                left = answer.encode() + b"\n"
                while left:
                    left = left[port.write(left) or 0 :]


if __name__ == "__main__":
    main()

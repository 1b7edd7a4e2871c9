#!/opt/keelwatt/current/bin/python
"""Whether a container does its work, by keelwatt's own word: healthy.py record | serve.

Exit status 0: it does; 1: it does not, and a sentence why.
"""

import os
import sys
import urllib.request
from pathlib import Path

PAGES = "http://127.0.0.1:8765/pair"


def recorder() -> str:
    """What is wrong with the recorder; "" where it wrote a reading lately."""
    from analyzer.answers.transfer.status import status

    lines = status(Path(os.environ["KEELWATT_LOG"]), ())
    return "; ".join(line.text for line in lines if line.name == "Recorder" and not line.fine)


def pages() -> str:
    """What is wrong with the pages; "" where they answer."""
    try:
        with urllib.request.urlopen(PAGES, timeout=20) as answer:
            return "" if answer.status == 200 else f"the pages answer {answer.status}"
    except OSError as error:
        return f"the pages do not answer: {error}"


if __name__ == "__main__":
    wrong = recorder() if sys.argv[1:] == ["record"] else pages()
    if wrong:
        sys.exit(wrong)

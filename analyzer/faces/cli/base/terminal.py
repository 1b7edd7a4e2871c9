"""The terminal that an answer is read on: its width, whether it shows colours, how it is called."""

import os
import shlex
import shutil
import sys
from pathlib import Path

# Narrower and words stand alone, wider and the eye loses the line: common practice, no source.
NARROWEST, WIDEST, PIPED = 40, 120, 80
# Select Graphic Rendition, ECMA-48: bold; yellow and red, which stand out on light and on dark.
_STYLES = {"bold": "1", "warning": "1;33", "act now": "1;31"}


def width() -> int:
    """Columns of text: $COLUMNS, else the terminal's own, within limits; 79 into a file or pipe."""
    columns = shutil.get_terminal_size((PIPED, 24)).columns
    if not _shown() and "COLUMNS" not in os.environ:
        columns = PIPED
    # the last column is left free: some terminals begin a new line there
    return max(NARROWEST, min(columns, WIDEST)) - 1


def styled(text: str, style: str) -> str:
    """The text as a terminal shows it in that style; as it is where there are no colours.

    Args:
        style: "bold", or a level of a flag; others change nothing.
    """
    code = _STYLES.get(style)
    return f"\033[{code}m{text}\033[0m" if code and text and _colours() else text


def program() -> str:
    """How to call this program from here: its name where the shell finds it, else its path."""
    called = Path(sys.argv[0])
    if called.name != "keelwatt":
        return "keelwatt"
    found = shutil.which("keelwatt")
    if found and Path(found).resolve() == called.resolve():
        return "keelwatt"
    path = called.absolute()
    here = Path.cwd()
    return shlex.quote(str(path.relative_to(here) if path.is_relative_to(here) else path))


def _shown() -> bool:
    return sys.stdout.isatty()


def _colours() -> bool:
    """A terminal that has them, and a user who has not declined them by NO_COLOR."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM", "dumb") == "dumb"
    return _shown() and not plain

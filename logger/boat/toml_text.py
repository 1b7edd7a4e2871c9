"""TOML from anybody, held to what a settings file is: small, and not nested without end.

The parsers take memory by the square of a dotted key's length: sixty thousand dots took 4 GB.
"""

import re
import tomllib
from typing import Any

MOST_CHARACTERS = 500_000  # fifty times the longest boat file written so far; assumed
DEEPEST = 12  # names in one dotted key; a boat file has four; assumed
_PART = r"[\w\"'-]+"
_STRING = re.compile(r"\"[^\"\n]*\"|'[^'\n]*'")
_TOO_DEEP = re.compile(rf"(?:{_PART}\s*\.\s*){{{DEEPEST}}}{_PART}\s*[.=\]]")


def read_toml(text: str) -> dict[str, Any]:
    """The table of a text.

    Raises:
        ValueError: It is no TOML (then a TOMLDecodeError), too long or nested too deep.
        RecursionError: Its brackets are nested without end.
    """
    check_toml(text)
    return tomllib.loads(text)


def check_toml(text: str) -> None:
    """Refuses what would take a parser's memory. Raises ValueError."""
    if len(text) > MOST_CHARACTERS:
        raise ValueError(f"wants at most {MOST_CHARACTERS} characters, got more")
    if _TOO_DEEP.search(_STRING.sub('""', text)):
        raise ValueError(f"wants at most {DEEPEST} names in one dotted key")

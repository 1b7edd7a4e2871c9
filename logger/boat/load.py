"""Reading a boat file: TOML, then each key, then combinations that cannot be."""

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from logger.boat.boat import Boat
from logger.boat.checks import contradictions
from logger.boat.errors import ended, sentences, syntax_sentence
from logger.boat.toml_text import MOST_CHARACTERS, read_toml
from logger.errors import BoatFileError


def load(path: str | Path) -> Boat:
    """Reads a boat file.

    Raises:
        BoatFileError: It cannot be read, or is wrong; one sentence for each thing wrong, one a
            line.
    """
    path = Path(path)
    try:
        with path.open(encoding="utf-8-sig") as file:
            text = file.read(MOST_CHARACTERS + 1)
    except FileNotFoundError as e:
        raise BoatFileError(
            f"{path}: there is no boat file here; keelwatt check can write one to begin with."
        ) from e
    except UnicodeDecodeError as e:
        raise BoatFileError(
            f"{path}: wants text in UTF-8; got byte {e.object[e.start]:#04x} at position "
            f"{e.start}; save it again as UTF-8."
        ) from e
    except (OSError, ValueError) as e:
        reason = e.strerror if isinstance(e, OSError) else str(e)
        raise BoatFileError(f"{path}: the boat file cannot be read: {reason}.") from e
    boat = parse(text, path.name)
    boat._folder = path.parent
    return boat


def parse(text: str, where: str) -> Boat:
    """Reads the text of a boat file.

    Args:
        text: TOML.
        where: The file's name, for the sentences.
    Raises:
        BoatFileError: As in `load`.
    """
    try:
        table = read_toml(text)
    except (ValueError, RecursionError) as e:
        raise BoatFileError(syntax_sentence(e, text, where)) from e
    return from_table(table, where, text)


def from_table(table: dict[str, Any], where: str, text: str = "") -> Boat:
    """A boat from a table as TOML yields it; `text` only serves to name lines.

    Raises:
        BoatFileError: As in `load`.
    """
    try:
        boat = Boat.model_validate(table)
    except ValidationError as e:
        raise BoatFileError("\n".join(sentences(e, table, where, text))) from e
    wrong = contradictions(boat)
    if wrong:
        raise BoatFileError("\n".join(ended(f"{where}: {sentence}") for sentence in wrong))
    return boat

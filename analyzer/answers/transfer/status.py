"""How the board fares, in sentences that are read to somebody on the telephone."""

import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from logger.computer import Computer, look, sticks
from logger.store import Store

# A recorder that runs has written by then: three times the 10 s of lying still; assumed.
FRESH_S = 30.0
HOT_C = 80.0  # processors of such boards slow down there; common practice, no source
LITTLE_ROOM = 0.05  # of the disk, as `check` has it; assumed
WORN = 0.8  # of the card's life; assumed
POSITION = "latitude_deg"
SAID = Path("/run/keelwatt-stick/said")  # what deploy/stick.sh told last, since the start
MOST_SAID = 300  # letters, so that a page holds the sentence; assumed

__all__ = ["Line", "as_text", "backed_up", "status", "sticks"]


@dataclass(frozen=True)
class Line:
    """One thing. fine: None: it cannot be told."""

    name: str
    text: str
    fine: bool | None


def status(log: Path, devices: tuple[str, ...]) -> tuple[Line, ...]:
    """What there is to tell.

    Args:
        log: Need not be there yet.
        devices: Ports and buses of this computer, as text.
    """
    computer = look(log.parent)
    lines = [*_supply(computer), *_card(computer), _plugged(devices)]
    if log.is_file():
        with Store.open(log) as store:
            lines += [_recorder(store), *_sources(store), _gps(store), _clock(store)]
    else:
        lines.append(Line("Recorder", "Nothing has been recorded yet.", False))
    copied = backed_up()
    if copied:
        lines.append(Line("Copy of the log", f"{copied[:1].upper()}{copied[1:]}.", None))
    return (*lines, _versions(computer))


def backed_up(said: Path = SAID) -> str:
    """What became of the last copy to a stick since this computer was started; "" for nothing."""
    try:
        return said.read_text("utf-8", "replace")[:MOST_SAID].strip()
    except OSError:
        return ""


def as_text(lines: tuple[Line, ...]) -> str:
    """The same to be sent."""
    marks = {True: "fine", False: "LOOK", None: "?"}
    return "".join(f"{marks[line.fine]:5} {line.name}: {line.text}\n" for line in lines)


def _supply(computer: Computer) -> Iterator[Line]:
    said = {
        None: "This computer does not tell whether its supply is strong enough.",
        True: "Too low: the supply or its cable is too weak for this computer.",
        False: "Strong enough.",
    }
    low = computer.supply_low
    yield Line("Supply", said[low], None if low is None else not low)
    warm = computer.processor_temp_c
    if warm is not None:
        yield Line("Warmth", f"The processor has {warm:.0f} °C.", warm < HOT_C)


def _card(computer: Computer) -> Iterator[Line]:
    left = computer.room_bytes / computer.size_bytes
    text = f"{computer.room_bytes / 1e9:.1f} of {computer.size_bytes / 1e9:.1f} GB are free"
    yield Line("Card, room", f"{text}, {100 * left:.0f} %.", left >= LITTLE_ROOM)
    used, faults = computer.card_used_frac, computer.faults
    worn = "The card does not tell how worn it is"
    if used is not None:
        worn = f"At most {100 * used:.0f} % of its life is used" if used <= 1 else "Past its life"
    told = {None: "", 0: "; no fault was found on it"}.get(faults, f"; {faults} faults on it")
    fine = None if used is None and faults is None else not faults and (used or 0.0) < WORN
    yield Line("Card, wear", f"{worn}{told}.", fine)


def _plugged(devices: tuple[str, ...]) -> Line:
    if not devices:
        return Line("Plugs", "Nothing is plugged in that could be read.", False)
    return Line("Plugs", "; ".join(devices) + ".", True)


def _recorder(store: Store) -> Line:
    age_s = store.age_s()
    if store.span() is None:
        return Line("Recorder", "It has never written a reading.", False)
    if age_s is None:
        return Line("Recorder", "It wrote nothing since this computer was started.", False)
    return Line("Recorder", f"It wrote a reading {_long(age_s)} ago.", age_s < FRESH_S)


def _long(seconds: float) -> str:
    """So much time, in the largest unit of which there are two."""
    for unit_s, unit in ((86_400, "days"), (3600, "hours"), (60, "minutes")):
        if seconds >= 2 * unit_s:
            return f"{seconds / unit_s:.0f} {unit}"
    return f"{seconds:.0f} seconds"


def _sources(store: Store) -> Iterator[Line]:
    said = store.health().get("recorder")
    for name, words in (said.value if said else {}).items():
        if isinstance(words, Mapping):
            yield _source(name, words)


def _source(name: str, words: Mapping[str, Any]) -> Line:
    trouble = str(words.get("trouble") or "")
    text = f"Up{': ' if trouble else ''}{trouble}." if words.get("up") else f"Down: {trouble}."
    return Line(f"Source {name}", text, bool(words.get("up")) and not trouble)


def _gps(store: Store) -> Line:
    held, span = store.channels().get(POSITION), store.span()
    if held is None or span is None:
        return Line("GPS", "No position was ever recorded.", False)
    age_s = (span[1] - held.last_us) / 1e6
    text = f"The newest position is {_long(age_s)} older than the newest reading."
    if age_s < 1.0:
        text = "The newest position is as new as the newest reading."
    return Line("GPS", text, age_s < FRESH_S)


def _clock(store: Store) -> Line:
    boots = [boot for boot in store.boots() if not boot.recorded]
    if not store.boots():
        return Line("Clock", "It is not known yet: nothing was recorded.", None)
    if not boots:
        return Line("Clock", "All that is in the log was played in from recordings.", None)
    newest = boots[-1]
    if newest.utc_source is None:
        return Line("Clock", "The date is not known yet since this computer was started.", False)
    unsure = newest.utc_uncertainty_s
    exact = "" if unsure is None else f", to {unsure:.3g} s"
    return Line("Clock", f"The date is known from {newest.utc_source}{exact}.", True)


def _versions(computer: Computer) -> Line:
    release = Path(sys.prefix).name
    parts = [f"keelwatt {metadata.version('keelwatt')} ({release})", f"Python {computer.python}"]
    parts += [computer.system, f"Linux {computer.kernel}", computer.model]
    return Line("Versions", ", ".join(part for part in parts if part) + ".", True)

"""KEY=VALUE of a what-if: which keys can be asked, and the boat with them."""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from analyzer.errors import BadChange
from logger.boat import Boat, from_table
from logger.errors import BoatFileError

ASKABLE = (
    "pack.rated_capacity_ah", "pack.cells_in_series", "pack.cell_resistance_ohm",
    "pack.cell_cutoff_v", "motor.cutback_v", "motor.shutdown_v", "motor.propeller_diameter_m",
    "motor.propeller_pitch_m", "motor.propeller_blades", "hotel.power_w", "solar.peak_w",
    "reserve.soc_frac",
)  # fmt: skip
CABLE_KEYS = ("size_mm2", "size_awg", "length_m")
EXAMPLE = "pack.rated_capacity_ah=200"
# Keys of the boat file of which a log cannot say what another value would do, and why.
REFUSED = {
    "pack.chemistry": "another chemistry is another battery, and the log has seen only this one",
    "pack.age_years": "what the log has shown of the pack counts more than its age; ask with "
    "pack.rated_capacity_ah",
    "motor.gear_ratio": "the propeller asks for the same power at the same turns, and what the "
    "motor loses at other turns is not in the log: readings of shaft speed and controller power "
    "with the other gear would tell",
    "motor.rated_power_w": "another motor's losses are not in the log",
    "hull.": "what the hull asks for is learned from the log, and another hull is not in it",
}


@dataclass(frozen=True)
class ChangedKey:
    """One number of the boat file that is asked about. was: None where the file has none."""

    key: str
    was: float | str | None
    becomes: float | str


def changed_boat(boat: Boat, wishes: Sequence[str]) -> tuple[Boat, tuple[ChangedKey, ...]]:
    """The boat with some numbers changed, and which.

    Args:
        wishes: KEY=VALUE each, the key as in the boat file: "solar.peak_w=400",
            "cable.battery_positive.size_mm2=70".
    Raises:
        BadChange: A key that is none or cannot be asked, or a value that cannot be.
    """
    table = boat.model_dump(exclude_unset=True)
    changes: list[ChangedKey] = []
    for wish in wishes:
        key, value = _split(wish)
        _check_key(boat, key)
        if any(one.key == key for one in changes):
            raise BadChange(f"what if: {key} is given twice; give it once")
        part, name = _place(boat, table, key)
        was = _was(boat, key)
        for other in {"size_mm2": ("size_awg",), "size_awg": ("size_mm2",)}.get(name, ()):
            part.pop(other, None)
        part[name] = value
        changes.append(ChangedKey(key, was, value))
    try:
        changed = from_table(table, "what if")
    except BoatFileError as error:
        raise BadChange(str(error).splitlines()[0]) from error
    changed._folder = boat.folder
    return changed, tuple(changes)


def known_keys(boat: Boat) -> tuple[str, ...]:
    """The keys that can be asked of a boat, its cables by their names."""
    cables = (f"cable.{cable.name}.{key}" for cable in boat.cable for key in CABLE_KEYS)
    return (*ASKABLE, *cables)


def _split(wish: str) -> tuple[str, float | str]:
    key, equals, text = wish.partition("=")
    key, text = key.strip(), text.strip()
    if not equals or not key or not text:
        raise BadChange(f"what if wants KEY=VALUE, such as {EXAMPLE}; got {wish!r}")
    for read in (int, float):
        try:
            return key, read(text)
        except ValueError:
            continue
    return key, text


def _check_key(boat: Boat, key: str) -> None:
    known = known_keys(boat)
    if key in known:
        return
    for start, why in REFUSED.items():
        if key == start or (start.endswith(".") and key.startswith(start)):
            raise BadChange(f"what if: {key} cannot be asked: {why}")
    near = _nearest(key, known)
    if near:
        raise BadChange(f"what if: there is no key {key!r}; did you mean {near}?")
    raise BadChange(f"what if: there is no key {key!r}; it can be asked of {', '.join(known)}")


def _nearest(key: str, known: Iterable[str]) -> str:
    """The key that was meant: by its last part, else by likeness; "" where none is near."""
    last = key.rpartition(".")[2]
    names = list(known)
    of_part = [name for name in names if last and name.rpartition(".")[2] == last]
    near = of_part or difflib.get_close_matches(key, names, n=1, cutoff=0.6)
    if near:
        return near[0]
    ends = {name.rpartition(".")[2]: name for name in names}
    by_end = difflib.get_close_matches(last, list(ends), n=1, cutoff=0.6)
    return ends[by_end[0]] if by_end else ""


def _place(boat: Boat, table: dict[str, Any], key: str) -> tuple[dict[str, Any], str]:
    """The part of the table in which a key stands, and its name there."""
    first, *rest = key.split(".")
    if first == "cable":
        index = next(i for i, cable in enumerate(boat.cable) if cable.name == rest[0])
        return table["cable"][index], rest[1]
    part: dict[str, Any] = table.setdefault(first, {})
    return part, rest[0]


def _was(boat: Boat, key: str) -> float | str | None:
    """What the boat file says of a key."""
    first, *rest = key.split(".")
    part: object = getattr(boat, first)
    if first == "cable":
        part = next(cable for cable in boat.cable if cable.name == rest[0])
    found: float | str | None = getattr(part, rest[-1])
    return found

"""Distances and speeds as a page's reader wants them: nautical, or metric for inland waters.

All answers are worded in nautical miles and knots. A page for somebody else is translated as a
whole, so that no two units ever stand side by side; drawings ask for the unit that is chosen.
"""

import re
from contextvars import ContextVar
from dataclasses import dataclass

from logger.units import KN, NMI

KMH = 1 / 3.6  # m/s in a kilometre an hour, by definition


@dataclass(frozen=True)
class Units:
    """A choice. distance_m, speed_mps: what one of each is."""

    name: str
    distance_m: float
    distance: str
    distance_long: str
    speed_mps: float
    speed: str
    speed_long: str


SEA = Units("sea", NMI, "nmi", "nautical miles", KN, "kn", "knots")
INLAND = Units("inland", 1000.0, "km", "kilometres", KMH, "km/h", "kilometres an hour")
CHOICES = {units.name: units for units in (SEA, INLAND)}
CHOSEN: ContextVar[Units] = ContextVar("units", default=SEA)

_NUMBER = r"\d+(?:\.\d+)?"
_MILES = r"nmi|nautical miles?"
# "11 to 15 nmi", "between 11 and 15 nautical miles", "4.5 kn", "540 Wh/nmi"
_MEASURE = re.compile(
    rf"(?<![\w.])(?P<numbers>{_NUMBER}(?: (?:to|and) {_NUMBER})?) "
    rf"(?P<unit>Wh/nmi|{_MILES}|kn|knots)\b"
)
_INSTEAD = re.compile(rf"({_NUMBER}) nmi instead of ({_NUMBER})(?! ?[\w/])")


def now() -> Units:
    """What the reader of this page has chosen."""
    return CHOSEN.get()


def told(text: str, units: Units | None = None) -> str:
    """A text worded in nautical units, in the chosen ones."""
    to = units or now()
    if to is SEA:
        return text
    whole = _INSTEAD.sub(r"\1 nmi instead of \2 nmi", text)
    return _MEASURE.sub(lambda found: _measure(found, to), whole)


def _measure(found: re.Match[str], to: Units) -> str:
    unit = found["unit"]
    if unit == "Wh/nmi":
        by, word = to.distance_m / NMI, f"Wh/{to.distance}"
    elif unit.startswith("n"):
        by, word = NMI / to.distance_m, to.distance if unit == "nmi" else to.distance_long
    else:
        by, word = KN / to.speed_mps, to.speed if unit == "kn" else to.speed_long
    numbers = re.sub(_NUMBER, lambda one: _shown(float(one[0]) * by, one[0]), found["numbers"])
    return f"{numbers} {word}"


def _shown(value: float, was: str) -> str:
    """With as many decimals as the number had; two figures at least."""
    decimals = len(was.partition(".")[2])
    if decimals == 0 and value < 10:
        decimals = 1
    return f"{value:.{decimals}f}"

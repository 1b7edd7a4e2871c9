"""Distances, temperatures and times as a page's reader wants them: nautical or metric, °C or °F,
the board's own time zone or UTC.

All answers are worded in nautical miles, knots and °C. A page for somebody else is translated as a
whole, so that no two units ever stand side by side; drawings ask for the unit that is chosen.
"""

import re
from collections.abc import Mapping
from contextvars import ContextVar
from dataclasses import dataclass, replace

from logger.units import KN, NMI

KMH = 1 / 3.6  # m/s in a kilometre an hour, by definition
F_IN_K = 1.8  # degrees of Fahrenheit's scale in a kelvin, by definition
FREEZING_F = 32.0  # 0 °C, by definition


@dataclass(frozen=True)
class Units:
    """A choice.

    Args:
        distance_m, speed_mps: What one of each is.
        fahrenheit: Temperatures in °F.
        utc: Times in UTC; False: in the board's own zone.
    """

    name: str
    distance_m: float
    distance: str
    distance_long: str
    speed_mps: float
    speed: str
    speed_long: str
    fahrenheit: bool = False
    utc: bool = False

    @property
    def temperature(self) -> str:
        """The unit of temperatures."""
        return "°F" if self.fahrenheit else "°C"


SEA = Units("sea", NMI, "nmi", "nautical miles", KN, "kn", "knots")
INLAND = Units("inland", 1000.0, "km", "kilometres", KMH, "km/h", "kilometres an hour")
CHOICES = {units.name: units for units in (SEA, INLAND)}
# What a reader may choose: the cookie that keeps it, and the names that it takes.
KEPT = {
    "units": tuple(CHOICES),
    "temperatures": ("celsius", "fahrenheit"),
    "times": ("board", "utc"),
}
CHOSEN: ContextVar[Units] = ContextVar("units", default=SEA)

_NUMBER = r"\d+(?:\.\d+)?"
_MILES = r"nmi|nautical miles?"
# "11 to 15 nmi", "between 11 and 15 nautical miles", "4.5 kn", "540 Wh/nmi"
_MEASURE = re.compile(
    rf"(?<![\w.])(?P<numbers>{_NUMBER}(?: (?:to|and) {_NUMBER})?) "
    rf"(?P<unit>Wh/nmi|{_MILES}|kn|knots)\b"
)
# "48 °C", "45 to 52 °C", "60 against 58 °C"; K is a difference
_WARMTH = re.compile(
    rf"(?<![\w.])(?P<numbers>-?{_NUMBER}(?: (?:to|and|against) -?{_NUMBER})?) (?P<unit>°C|K)(?!\w)"
)
_INSTEAD = re.compile(rf"({_NUMBER}) nmi instead of ({_NUMBER})(?! ?[\w/])")


def now() -> Units:
    """What the reader of this page has chosen."""
    return CHOSEN.get()


def chosen(kept: Mapping[str, str]) -> Units:
    """The choice that a reader's cookies keep."""
    return replace(
        CHOICES.get(kept.get("units", ""), SEA),
        fahrenheit=kept.get("temperatures") == "fahrenheit",
        utc=kept.get("times") == "utc",
    )


def told(text: str, units: Units | None = None) -> str:
    """A text worded in nautical units and °C, in the chosen ones."""
    to = units or now()
    if to.fahrenheit:
        text = _WARMTH.sub(_warmth, text)
    if to.distance_m == SEA.distance_m:
        return text
    whole = _INSTEAD.sub(r"\1 nmi instead of \2 nmi", text)
    return _MEASURE.sub(lambda found: _measure(found, to), whole)


def _warmth(found: re.Match[str]) -> str:
    zero_f = 0.0 if found["unit"] == "K" else FREEZING_F

    def one(number: re.Match[str]) -> str:
        return _shown(float(number[0]) * F_IN_K + zero_f, number[0])

    return f"{re.sub(rf'-?{_NUMBER}', one, found['numbers'])} °F"


def _measure(found: re.Match[str], to: Units) -> str:
    unit = found["unit"]
    if unit == "Wh/nmi":
        by, word = to.distance_m / NMI, f"Wh/{to.distance}"
    elif unit.startswith("n"):
        by, word = NMI / to.distance_m, to.distance if unit == "nmi" else to.distance_long
    else:
        by, word = KN / to.speed_mps, to.speed if unit == "kn" else to.speed_long
    numbers = re.sub(_NUMBER, lambda one: _finer(float(one[0]) * by, one[0]), found["numbers"])
    return f"{numbers} {word}"


def _shown(value: float, was: str) -> str:
    """With as many decimals as the number had."""
    return f"{value:.{len(was.partition('.')[2])}f}"


def _finer(value: float, was: str) -> str:
    """With two figures at least."""
    return _shown(value, was if "." in was or value >= 10 else "0.0")

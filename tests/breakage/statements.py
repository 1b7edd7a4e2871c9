"""Invariant 1: what an answer states with a range, beside what was true.

A range is counted over cases: at least 76 in 100 should hold the truth (they say eight in ten).
One statement alone is a miss where the truth lies so far outside that chance cannot be the cause:
`FAR` half-widths. Out of 80 % ranges of normal errors, half-width 1.28 standard deviations, one
in 8000 lies three half-widths off. An answer that says it cannot say, is about something else in
its first clause, or names the broken input in its first two sentences is not counted.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from tests.breakage.asking import Answer, Said, sentences
from tests.breakage.truth import Truth

FAR = 3.0
SURE_FRAC = 0.95  # a yes or no said with more than this and wrong is a miss by itself
SPEED_FRAC, SPEED_MPS = 0.15, 0.15  # assumed: so far may a named speed be from the present one
ENERGY_FRAC = 0.10  # assumed: a plain figure of energy or distance is good to a tenth
OF_NOW = ("present", "power")  # what an answer is about that is about the present throttle
_CONDITION = re.compile(r"^(if|when|with|as if|assuming|after|before|until|while|how long)\b", re.I)
_CANNOT = re.compile(r"cannot (be said|say|be judged)|not known|too little", re.I)


@dataclass(frozen=True)
class Stated:
    """One statement with its truth.

    Args:
        what: "range: charge". excuse: why it is not counted; empty where it is.
    """

    what: str
    low: float
    mid: float
    high: float
    truth: float
    excuse: str = ""

    @property
    def held(self) -> bool:
        """Whether the truth lies in the range."""
        return self.low <= self.truth <= self.high

    @property
    def off(self) -> float:
        """How many half-widths the truth is from the middle, on its side."""
        side = self.high - self.mid if self.truth > self.mid else self.mid - self.low
        return abs(self.truth - self.mid) / max(side, 1e-9)

    @property
    def far(self) -> bool:
        """Whether chance cannot be the cause; ranges of next to nothing count by their size."""
        return not self.held and self.off > FAR and abs(self.truth - self.mid) > 0.01

    def __str__(self) -> str:
        return (
            f"{self.what}: said {self.low:.4g} to {self.high:.4g} (middle {self.mid:.4g}), "
            f"true {self.truth:.4g}, {min(self.off, 99):.1f} half-widths off"
        )


def excuse(answer: Answer | None, broken: str) -> str:
    """Why an answer's figures are not counted: it says so itself. Empty: they are.

    broken: Regular expression of the broken inputs' names; empty where nothing is broken.
    """
    if answer is None or not answer.text:
        return "no answer"
    parts = sentences(answer.text)
    opening = " ".join(parts[:2])
    if _CANNOT.search(opening):
        return "cannot say"
    if _CONDITION.match(parts[0]):
        return "about something else"
    if broken and re.search(broken, opening, re.I):
        return "names the input"
    return ""


def stated(said: Said, truth: Truth, broken: str) -> list[Stated]:
    """Every statement of one moment that has a truth."""
    out: list[Stated] = []
    newest = partial(_of_trips, ago_s=_since_trip_s(said))
    for question, rows in (("range", _of_range), ("plan", _of_plan), ("trips", newest)):
        data = said.data(question)
        if data:
            why = excuse(said.answers[question], broken)
            for what, e, true in rows(data, truth):
                if e["mid"] is not None and e["low"] is not None and e["high"] is not None:
                    out.append(
                        Stated(f"{question}: {what}", e["low"], e["mid"], e["high"], true, why)
                    )
    return out


Rows = Iterator[tuple[str, dict[str, Any], float]]


def _of_range(data: dict[str, Any], truth: Truth) -> Rows:
    yield "charge", data["charge"], truth.soc_frac
    speed = data["speed_water_mps"]
    if truth.steady and speed:
        # Of now, and so of the present throttle: what the boat does with it is the truth, however
        # its speed is named, whose own error `_speed_named` judges.
        ahead = truth.ahead(truth.speed_mps if data["about"] in OF_NOW else speed)
        if ahead.limit[0] != "time":  # where the sun covers it, days are as good as for ever
            yield "distance", data["distance"], float(ahead.distance_m[0])
            yield "duration", data["duration"], float(ahead.duration_s[0])
    elif truth.steady:
        yield "duration", data["duration"], float(truth.ahead(truth.speed_mps).duration_s[0])
    home = data["home"]
    if home and home["speed_water_mps"]:
        came = truth.home(home["speed_water_mps"])
        if came.home:
            yield "charge at home", home["charge_on_arrival"], came.soc_frac


def _of_plan(data: dict[str, Any], truth: Truth) -> Rows:
    """The passage is the straight way home, at the speed of its only leg."""
    legs = data["plan"]["legs"]
    if len(legs) == 1:
        came = truth.home(legs[0]["speed_water_mps"])
        if came.home:
            yield "charge on arrival", data["plan"]["charge"], came.soc_frac


def _since_trip_s(said: Said) -> float:
    """Time from the newest trip's end to the questions; 0 where either is not told. [s]"""
    data, trips = said.data("range"), said.data("trips")
    return float(data["asked_utc_s"] - trips[-1]["end_utc_s"]) if data and trips else 0.0


def _of_trips(data: list[dict[str, Any]], truth: Truth, ago_s: float) -> Rows:
    """Of the newest trip, which ended `ago_s` before the questions."""
    if data:
        yield "charge at its end", data[-1]["charge_end"], truth.soc_before(ago_s)


def wrong_figures(said: Said, truth: Truth, broken: str) -> list[str]:
    """What is stated without a range, or surely, and is not so."""
    return [
        *_speed_named(said, truth, broken),
        *_home_wrong(said, truth, broken),
        *_energy_wrong(said, truth, broken),
    ]


def _speed_named(said: Said, truth: Truth, broken: str) -> Iterator[str]:
    """Under motor, the headline names the speed the boat does."""
    data = said.data("range")
    if not data or not truth.motoring or excuse(said.answers["range"], broken):
        return
    named = data["speed_water_mps"]
    if named and abs(named - truth.speed_mps) > SPEED_MPS + SPEED_FRAC * truth.speed_mps:
        yield (
            f"range: names another speed: {named:.2f} m/s, the boat motors at "
            f"{truth.speed_mps:.2f} m/s"
        )


def _home_wrong(said: Said, truth: Truth, broken: str) -> Iterator[str]:
    """Surely home, or surely not, and it came otherwise."""
    data = said.data("range")
    home = data and data["home"]
    if not home or not home["speed_water_mps"] or excuse(said.answers["range"], broken):
        return
    came = truth.home(home["speed_water_mps"])
    sure, yes = home["can_return_frac"], came.above_reserve
    if (sure > SURE_FRAC and not yes) or (sure < 1 - SURE_FRAC and yes):
        yield (
            f"home: {100 * sure:.0f} % sure, came home with {100 * came.soc_frac:.0f} % charge"
            f"{'' if came.home else ', not home at all'}"
        )


def _energy_wrong(said: Said, truth: Truth, broken: str) -> Iterator[str]:
    """Energy counted over all trips."""
    trips = said.data("trips")
    if not trips or excuse(said.answers["trips"], broken):
        return
    if any(trip["energy_out_wh"] is None for trip in trips):
        return  # said not to be measured
    counted = sum(trip["energy_out_wh"] for trip in trips)
    asked = (said.data("range") or {"asked_utc_s": trips[-1]["end_utc_s"]})["asked_utc_s"]
    spans = [(asked - trip["start_utc_s"], asked - trip["end_utc_s"]) for trip in trips]
    used = truth.energy_out_wh(spans)
    if abs(counted - used) > ENERGY_FRAC * used + 30.0:
        yield f"trips: used {counted:.0f} Wh, truly {used:.0f} Wh"

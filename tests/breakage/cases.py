"""A broken case: which boat, which kit, what breaks and when, what was asked and what is amiss."""

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.breakage import contradictions, physics, statements
from tests.breakage.asking import Desk, Said
from tests.breakage.breaks import Break, apply, words
from tests.breakage.logs import write_boat, write_log
from tests.breakage.recordings import Recording, Throttle, recording
from tests.breakage.statements import Stated
from tests.breakage.truth import Truth, truth_of

MINUTE_S = 60
ROUTE_M = 30.0  # shorter, by a receiver's own wander, is no passage: a plan wants 20 m (assumed)
M_PER_DEG = 1852 * 60.0  # of latitude, by definition of the nautical mile


@dataclass(frozen=True)
class Case:
    """Everything that makes a case; the same case is always the same log.

    Args:
        boat: Number of the invented boat, or `recordings.DEMO`. kit: See `recordings.KITS`.
        at_s: When the questions are put, a multiple of 60.
    """

    boat: int
    kit: str
    at_s: int
    breaks: tuple[Break, ...] = ()
    throttle: Throttle | None = None

    @property
    def causes(self) -> list[str]:
        """What is broken, without the figures; for counting."""
        return sorted(f"{b.kind} {b.what}".strip() for b in self.breaks) or ["sound"]


@dataclass(frozen=True)
class Miss:
    """One invariant that did not hold."""

    invariant: str
    text: str


@dataclass
class Result:
    """What came out of a case."""

    case: Case
    misses: list[Miss] = field(default_factory=list)
    stated: list[Stated] = field(default_factory=list)


def run(case: Case, folder: Path | None = None) -> tuple[Said, Truth]:
    """Breaks the recording, writes the log, asks.

    folder: Where to leave log and boat file; None: nowhere.
    """
    if folder is None:
        with tempfile.TemporaryDirectory() as name:
            return run(case, Path(name))
    sound = recording(case.boat, case.kit, case.throttle)
    broken = apply(sound, case.breaks)
    at = min(case.at_s, (sound.length_s - 1) // MINUTE_S * MINUTE_S)
    write_boat(folder / "boat.toml", broken)
    now_s = broken.start_utc_s + at  # the computer's own date is right, the log's may not be
    write_log(folder / "log.sqlite", broken, 0.0, at - MINUTE_S)
    before = Desk(folder, now_s - MINUTE_S).ask("range", "--home", words=False)
    write_log(folder / "log.sqlite", broken, at - MINUTE_S, at)
    home = (sound.place.latitude_deg, sound.place.longitude_deg)
    here = _place(broken, at)
    if here is not None and offset_m(here, home) < ROUTE_M:
        here = None  # at the berth: there is no passage home to plan
    said = Desk(folder, now_s).ask_all(home, here)
    return Said(said.answers, before), truth_of(broken, at, case.throttle)


def offset_m(one: tuple[float, float], other: tuple[float, float]) -> float:
    """How far two places close by are apart, on the plane. [m]"""
    north = M_PER_DEG * (other[0] - one[0])
    east = M_PER_DEG * (other[1] - one[1]) * np.cos(np.radians(one[0]))
    return float(np.hypot(north, east))


def _place(shown: Recording, at: int) -> tuple[float, float] | None:
    """Where the instruments put the boat, for the plan's route; None without such a place."""
    last = []
    for name in ("latitude_deg", "longitude_deg"):
        said = shown.readings.get(name)
        there = said is not None and (said.t_s < at) & ~np.isnan(said.value)
        if said is None or not np.any(there):
            return None
        last.append(float(said.value[there][-1]))
    # Nobody can give a route from where is no place on Earth.
    return (last[0], last[1]) if abs(last[0]) <= 90.0 and abs(last[1]) <= 180.0 else None


def judge(said: Said, truth: Truth, breaks: Sequence[Break]) -> tuple[list[Miss], list[Stated]]:
    """All invariants on what was said."""
    broken = "|".join(words(one) for one in breaks)
    stated = statements.stated(said, truth, broken)
    misses = [Miss("far outside", str(s)) for s in stated if s.far and not s.excuse]
    misses += [Miss("wrong", text) for text in statements.wrong_figures(said, truth, broken)]
    for check in contradictions.CHECKS:
        misses += [Miss(check.__name__, text) for text in check(said)]
    for law in physics.PHYSICS:
        misses += [Miss(law.__name__, text) for text in law(said, truth)]
    misses += [Miss("leap", text) for text in physics.leaps(said, truth)]
    for question, answer in said.answers.items():
        misses += [Miss("manners", text) for text in physics.manners(question, answer)]
    if said.before is not None:
        misses += [Miss("manners", text) for text in physics.manners("range", said.before)]
    return misses, stated


def examine(case: Case) -> Result:
    """Runs a case and judges it."""
    said, truth = run(case)
    misses, stated = judge(said, truth, case.breaks)
    return Result(case, misses, stated)
